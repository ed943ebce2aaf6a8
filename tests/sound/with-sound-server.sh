#!/usr/bin/env bash
# Runs a command on a machine without sound hardware as if it had a microphone and a loudspeaker.
#
#   tests/sound/with-sound-server.sh COMMAND [ARGUMENT]...
#
# A private sound server is started in a folder of its own, with two null sinks:
#   room     what is played into it is what the microphone hears (its monitor is the default source)
#   speaker  what the program plays and speaks (the default sink; record `speaker.monitor` to hear it)
# ALSA's default device is the server, so that programs that know only ALSA reach it, and a speech
# service started by the command plays into it. Everything is ended and removed when the command
# ends, however it ends. The exit status is the command's, or 77 when a package is missing.
#
# The command can end the server and bring it back, as if a headset were unplugged:
#   "$SOUND_SERVER" stop
#   "$SOUND_SERVER" start
#
# Debian packages: pulseaudio pulseaudio-utils libasound2-plugins alsa-utils speech-dispatcher
# speech-dispatcher-espeak-ng espeak-ng (and libasound2-dev libspeechd-dev clang to build).
set -u

here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
self=$here/$(basename "${BASH_SOURCE[0]}")

start_server() {
  # If this script is ended without a chance to clean up, the kernel ends the server too.
  setpriv --pdeathsig KILL -- pulseaudio -n --daemonize=no --fail=yes --exit-idle-time=-1 \
    --use-pid-file=no --disable-shm=yes --realtime=no --high-priority=no \
    --log-target=file:"$SOUND_SERVER_FOLDER/server.log" \
    -L "module-native-protocol-unix socket=$SOUND_SERVER_FOLDER/socket auth-anonymous=1" \
    -L "module-null-sink sink_name=room rate=48000 channels=1" \
    -L "module-null-sink sink_name=speaker rate=48000 channels=1" \
    </dev/null >/dev/null 2>&1 &
  echo $! >"$SOUND_SERVER_FOLDER/server.pid"
  disown
  for _ in $(seq 100); do
    if pactl set-default-source room.monitor 2>/dev/null &&
      pactl set-default-sink speaker 2>/dev/null; then
      # An idle null sink works in steps of two seconds, the first one included; somebody who
      # wants 20 ms keeps it brisk. These end with the server. SOUND_SERVER_SLOW=1 leaves the pace
      # to the command, which then pays only for what it asks for itself.
      for sink in room speaker; do
        [ -z "${SOUND_SERVER_SLOW:-}" ] || break
        parec --latency-msec=20 -d "$sink.monitor" </dev/null >/dev/null 2>&1 8>&- &
        disown
      done
      timeout 5 parec --latency-msec=20 -d room.monitor 8>&- 2>/dev/null | head -c 1 >/dev/null
      return 0
    fi
    sleep 0.05
  done
  echo "the sound server did not start; its log:" >&2
  cat "$SOUND_SERVER_FOLDER/server.log" >&2
  return 1
}

# end PIDFILE: ends the process named there and waits until it is gone.
end() {
  local pid
  pid=$(cat "$1" 2>/dev/null) || return 0
  [ -n "$pid" ] || return 0
  kill -KILL "$pid" 2>/dev/null
  for _ in $(seq 100); do
    kill -0 "$pid" 2>/dev/null || break
    [ "$(ps -o stat= -p "$pid" 2>/dev/null | cut -c1)" = Z ] && break
    sleep 0.02
  done
  rm -f "$1"
}

# Called by the command through $SOUND_SERVER. A server brought back lives until the folder's
# keeper, the first call of this script, ends it.
if [ -n "${SOUND_SERVER_FOLDER:-}" ]; then
  case "${1:-}" in
  stop) end "$SOUND_SERVER_FOLDER/server.pid" ;;
  start)
    mkfifo "$SOUND_SERVER_FOLDER/answer"
    echo start >"$SOUND_SERVER_FOLDER/wishes"
    read -r answer <"$SOUND_SERVER_FOLDER/answer"
    rm -f "$SOUND_SERVER_FOLDER/answer"
    [ "$answer" = up ]
    ;;
  *)
    echo "usage: $0 stop|start" >&2
    exit 2
    ;;
  esac
  exit
fi

[ $# -gt 0 ] || {
  sed -n '2,21s/^# \{0,1\}//p' "$self" >&2
  exit 2
}

missing=
need() { command -v "$1" >/dev/null || missing="$missing $2"; }
need pulseaudio pulseaudio
need pactl pulseaudio-utils
need paplay pulseaudio-utils
need speech-dispatcher speech-dispatcher
need espeak-ng espeak-ng
ls /usr/lib/speech-dispatcher-modules/sd_espeak-ng /usr/lib/*/speech-dispatcher-modules/sd_espeak-ng \
  >/dev/null 2>&1 || [ -n "$(ls /usr/lib/speech-dispatcher-modules/sd_espeak-ng 2>/dev/null)" ] ||
  missing="$missing speech-dispatcher-espeak-ng"
ls /usr/lib/*/alsa-lib/libasound_module_pcm_pulse.so >/dev/null 2>&1 || missing="$missing libasound2-plugins"
if [ -n "$missing" ]; then
  echo "no sound tests without these Debian packages:$missing" >&2
  exit 77
fi

folder=$(mktemp -d) || exit 1
chmod 700 "$folder"
export SOUND_SERVER_FOLDER=$folder SOUND_SERVER=$self
# Cargo and rustup find their own folders by HOME unless told.
export CARGO_HOME=${CARGO_HOME:-$HOME/.cargo} RUSTUP_HOME=${RUSTUP_HOME:-$HOME/.rustup}
export XDG_RUNTIME_DIR=$folder HOME=$folder
export XDG_CONFIG_HOME=$folder/config XDG_STATE_HOME=$folder/state XDG_CACHE_HOME=$folder/cache
export PULSE_SERVER=unix:$folder/socket
unset PULSE_SINK PULSE_SOURCE SPEECHD_ADDRESS DISPLAY DBUS_SESSION_BUS_ADDRESS
cat >"$folder/alsa.conf" <<'CONF'
</usr/share/alsa/alsa.conf>
pcm.!default { type pulse hint { show on description "The test room" } }
ctl.!default { type pulse }
CONF
export ALSA_CONFIG_PATH=$folder/alsa.conf

command_pid=
clean() {
  trap - EXIT INT TERM HUP
  # The command leads a process group of its own: what it started and left behind goes with it.
  [ -n "$command_pid" ] && kill -KILL -- "-$command_pid" 2>/dev/null
  end "$folder/speech-dispatcher/pid/speech-dispatcher.pid"
  end "$folder/server.pid"
  exec 8>&- 2>/dev/null
  rm -rf "$folder"
}
trap clean EXIT
trap 'exit 130' INT
trap 'exit 143' TERM HUP

mkfifo "$folder/wishes"
exec 8<>"$folder/wishes"
start_server || exit 1

setsid --wait "$@" 8>&- &
waiter=$!
# setsid forks only when it leads a group already, which a background job of a script does not.
command_pid=$waiter
while kill -0 "$waiter" 2>/dev/null; do
  if read -r -t 0.2 wish <&8 && [ "$wish" = start ]; then
    if start_server; then echo up; else echo down; fi >"$folder/answer"
  fi
done
wait "$waiter"
