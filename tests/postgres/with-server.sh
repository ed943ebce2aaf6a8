#!/usr/bin/env bash
# Runs a command beside a private PostgreSQL server, which is ended and removed when the command
# ends, however it ends.
#
#   tests/postgres/with-server.sh COMMAND [ARGUMENT]...
#
# The server listens on a loopback port that was free and on a Unix socket, offers TLS with a
# certificate made for "localhost" by an authority of its own, and wants a password of everybody.
# The command finds it by these variables:
#   HAND_IN_PORT      its port
#   HAND_IN_SOCKET    the folder of its socket
#   HAND_IN_FOLDER    a folder with root.pem, the certificate of its authority
#   HAND_IN_PASSWORD  the password of the user `desk`, who owns the database `tests`, and of the
#                     server's master `postgres`
# HAND_IN_TLS=off starts it without TLS. The exit status is the command's, or 77 when a package is
# missing.
#
# Debian packages: postgresql openssl
set -u

[ $# -gt 0 ] || {
  sed -n '2,19s/^# \{0,1\}//p' "$0" >&2
  exit 2
}

bin=$(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -V | tail -1)
missing=
[ -n "$bin" ] && [ -x "$bin/initdb" ] || missing="$missing postgresql"
command -v openssl >/dev/null || missing="$missing openssl"
if [ -n "$missing" ]; then
  echo "no tests of handing in without these Debian packages:$missing" >&2
  exit 77
fi

folder=$(mktemp -d) || exit 1
# The server does not run as root: there it runs as the user that the package made for it.
as=()
if [ "$(id -u)" -eq 0 ]; then
  as=(setpriv --reuid=postgres --regid=postgres --clear-groups --)
  chown postgres: "$folder"
fi
chmod 755 "$folder"

server=
command_pid=
clean() {
  trap - EXIT INT TERM HUP
  [ -n "$command_pid" ] && kill -TERM "$command_pid" 2>/dev/null
  if [ -n "$server" ]; then
    kill -QUIT "$server" 2>/dev/null
    wait "$server" 2>/dev/null
  fi
  rm -rf "$folder"
}
trap clean EXIT
trap 'exit 130' INT
trap 'exit 143' TERM HUP

failed() {
  echo "the server could not be started: $1" >&2
  cat "$folder/log" >&2 2>/dev/null
  exit 1
}

HAND_IN_PASSWORD=$(openssl rand -hex 12)
printf '%s\n' "$HAND_IN_PASSWORD" >"$folder/password"
chmod 644 "$folder/password"
cd "$folder" || exit 1
"${as[@]}" "$bin/initdb" -D "$folder/data" -U postgres -E UTF8 --locale=C.UTF-8 -A scram-sha-256 \
  --pwfile="$folder/password" >"$folder/log" 2>&1 || failed initdb
rm -f "$folder/password"

tls=off
if [ "${HAND_IN_TLS:-on}" = on ]; then
  tls=on
  {
    openssl req -x509 -newkey rsa:2048 -nodes -days 2 -subj "/CN=authority of the test" \
      -addext basicConstraints=critical,CA:TRUE -addext keyUsage=critical,keyCertSign \
      -keyout root.key -out root.pem &&
      openssl req -newkey rsa:2048 -nodes -subj "/CN=localhost" -keyout server.key -out server.csr &&
      printf 'subjectAltName=DNS:localhost\nbasicConstraints=CA:FALSE\n' >server.ext &&
      openssl x509 -req -in server.csr -CA root.pem -CAkey root.key -CAcreateserial -days 2 \
        -extfile server.ext -out server.pem
  } >>"$folder/log" 2>&1 || failed openssl
  chmod 600 server.key
  [ ${#as[@]} -eq 0 ] || chown postgres: server.key
fi

# A port may be taken between looking and starting: then another is tried.
for attempt in 1 2 3 4 5; do
  HAND_IN_PORT=$((20000 + (RANDOM * 32768 + RANDOM) % 12000))
  # If this script is ended without a chance to clean up, the kernel ends the server too.
  "${as[@]}" setpriv --pdeathsig QUIT -- "$bin/postgres" -D "$folder/data" \
    -c listen_addresses=127.0.0.1 -c port="$HAND_IN_PORT" -c unix_socket_directories="$folder" \
    -c ssl=$tls -c ssl_cert_file="$folder/server.pem" -c ssl_key_file="$folder/server.key" \
    -c max_connections=40 >>"$folder/log" 2>&1 </dev/null &
  server=$!
  for _ in $(seq 300); do
    if "$bin/pg_isready" -q -h "$folder" -p "$HAND_IN_PORT"; then break 2; fi
    kill -0 "$server" 2>/dev/null || break
    sleep 0.1
  done
  kill -QUIT "$server" 2>/dev/null
  wait "$server" 2>/dev/null
  server=
  [ "$attempt" -lt 5 ] || failed "no port was free, or it did not answer"
done

PGPASSWORD=$HAND_IN_PASSWORD "$bin/psql" -q -X -v ON_ERROR_STOP=1 -h "$folder" -p "$HAND_IN_PORT" \
  -U postgres -c "CREATE ROLE desk LOGIN PASSWORD '$HAND_IN_PASSWORD'" \
  -c "CREATE DATABASE tests OWNER desk" postgres >>"$folder/log" 2>&1 || failed psql

export HAND_IN_PORT HAND_IN_PASSWORD HAND_IN_FOLDER=$folder HAND_IN_SOCKET=$folder
cd "$OLDPWD" || exit 1
# A background job gets no standard input unless told.
"$@" <&0 &
command_pid=$!
wait "$command_pid"
status=$?
command_pid=
exit $status
