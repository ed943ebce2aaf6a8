-- What `bothhands hand-in` makes on a PostgreSQL server (13 or later, database in UTF-8), in the
-- schema `bothhands`. Each part below is applied once, in order, in one transaction; a server keeps
-- the number of the last in `bothhands.version`. A part that has been published never changes.

-- == version 1

CREATE SCHEMA bothhands;
COMMENT ON SCHEMA bothhands IS 'Logs of electrical tests, handed in by bothhands; never changed';

CREATE TABLE bothhands.version (version integer NOT NULL);

-- One row for each log, named by the id of its first event.
CREATE TABLE bothhands.logs (
  log text PRIMARY KEY CHECK (length(log) = 32),
  handed_in_at timestamptz NOT NULL DEFAULT clock_timestamp(),
  handed_in_by text NOT NULL DEFAULT session_user
);

-- What was heard: the words, the scores, and which sound it was.
CREATE TABLE bothhands.evidence (
  hash text PRIMARY KEY CHECK (length(hash) = 64),
  sound_hash text NOT NULL CHECK (length(sound_hash) = 64),
  rate integer NOT NULL,
  samples bigint NOT NULL,
  start bigint NOT NULL,
  words text NOT NULL,
  heard jsonb,
  heard_as_written text NOT NULL
);
COMMENT ON COLUMN bothhands.evidence.heard_as_written IS
  'The very text that the hash is made of; heard is the same to be queried';

-- The sound, FLAC files named by their SHA-256; none where it was handed in without sound.
CREATE TABLE bothhands.sounds (
  sound_hash text PRIMARY KEY CHECK (sound_hash = encode(sha256(flac), 'hex')),
  flac bytea NOT NULL
);
ALTER TABLE bothhands.sounds ALTER COLUMN flac SET STORAGE EXTERNAL;

-- Every event, in the order of its log.
CREATE TABLE bothhands.events (
  log text NOT NULL REFERENCES bothhands.logs,
  seq bigint NOT NULL CHECK (seq > 0),
  number bigint CHECK (number >= 0),
  id text NOT NULL UNIQUE CHECK (id = left(hash, 32)),
  chain text NOT NULL,
  position bigint NOT NULL,
  device text NOT NULL,
  at timestamptz NOT NULL,
  version integer NOT NULL,
  kind text NOT NULL,
  payload jsonb,
  payload_as_written text NOT NULL,
  evidence text REFERENCES bothhands.evidence,
  prev_hash text NOT NULL CHECK (length(prev_hash) = 64),
  hash text NOT NULL CHECK (length(hash) = 64),
  PRIMARY KEY (log, seq),
  UNIQUE (log, number)
);
COMMENT ON COLUMN bothhands.events.number IS
  'Number in the session, from 0, by which events name each other; none for the text of the job';
COMMENT ON COLUMN bothhands.events.payload_as_written IS
  'The very text that the hash is made of; payload is the same to be queried';
CREATE INDEX events_by_evidence ON bothhands.events (evidence) WHERE evidence IS NOT NULL;

CREATE INDEX events_by_corrected ON bothhands.events (log, ((payload ->> 'of')::bigint))
  WHERE kind IN ('withdrawn', 'corrected-at-desk');

-- A field of what is hashed: its length in bytes, a colon, the bytes, a comma.
CREATE FUNCTION bothhands.netstring(field text) RETURNS bytea LANGUAGE sql IMMUTABLE AS $$
  SELECT convert_to(octet_length(convert_to(field, 'UTF8'))::text || ':' || field || ',', 'UTF8')
$$;

-- What an event's hash must be.
CREATE FUNCTION bothhands.event_hash(
  chain text, "position" bigint, device text, at timestamptz, version integer, kind text,
  payload_as_written text, evidence text, prev_hash text
) RETURNS text LANGUAGE sql STABLE AS $$
  SELECT encode(sha256(
    bothhands.netstring('bothhands event 1')
    || bothhands.netstring(chain)
    || bothhands.netstring("position"::text)
    || bothhands.netstring(device)
    || bothhands.netstring(to_char(at AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"'))
    || bothhands.netstring(version::text)
    || bothhands.netstring(kind)
    || bothhands.netstring(payload_as_written)
    || bothhands.netstring(coalesce(evidence, ''))
    || bothhands.netstring(prev_hash)
  ), 'hex')
$$;

-- Events that are not as they were written, or do not follow the one before. Empty unless
-- somebody with the power to switch triggers off has changed something.
CREATE VIEW bothhands.does_not_fit AS
SELECT e.log, e.seq, e.number AS event, e.kind, e.at,
  CASE
    WHEN e.hash <> bothhands.event_hash(e.chain, e.position, e.device, e.at, e.version, e.kind,
      e.payload_as_written, e.evidence, e.prev_hash)
    THEN 'it is not as it was written: its hash does not fit'
    ELSE 'the event before it is missing or another'
  END AS why
FROM bothhands.events e
LEFT JOIN bothhands.events p ON p.log = e.log AND p.seq = e.seq - 1
WHERE e.hash <> bothhands.event_hash(e.chain, e.position, e.device, e.at, e.version, e.kind,
    e.payload_as_written, e.evidence, e.prev_hash)
  OR e.prev_hash <> coalesce(p.hash, repeat('0', 64))
  OR (e.seq = 1 AND e.log <> e.id)
  OR (e.seq > 1 AND p.seq IS NULL);

CREATE FUNCTION bothhands.events_fit() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
  wrong record;
BEGIN
  SELECT e.log, e.seq INTO wrong
  FROM added e LEFT JOIN bothhands.events p ON p.log = e.log AND p.seq = e.seq - 1
  WHERE e.hash <> bothhands.event_hash(e.chain, e.position, e.device, e.at, e.version, e.kind,
      e.payload_as_written, e.evidence, e.prev_hash)
    OR e.prev_hash <> coalesce(p.hash, repeat('0', 64))
    OR (e.seq = 1 AND e.log <> e.id)
    OR (e.seq > 1 AND p.seq IS NULL)
  LIMIT 1;
  IF FOUND THEN
    RAISE EXCEPTION 'event % of log % does not fit its hash or the event before it',
      wrong.seq, wrong.log USING ERRCODE = 'check_violation';
  END IF;
  RETURN NULL;
END
$$;
CREATE TRIGGER events_fit AFTER INSERT ON bothhands.events
  REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION bothhands.events_fit();

CREATE FUNCTION bothhands.never_changed() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION 'what was handed in is never changed or deleted (%): a correction is a new event',
    TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
END
$$;
CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE OR TRUNCATE ON bothhands.logs
  FOR EACH STATEMENT EXECUTE FUNCTION bothhands.never_changed();
CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE OR TRUNCATE ON bothhands.events
  FOR EACH STATEMENT EXECUTE FUNCTION bothhands.never_changed();
CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE OR TRUNCATE ON bothhands.evidence
  FOR EACH STATEMENT EXECUTE FUNCTION bothhands.never_changed();
CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE OR TRUNCATE ON bothhands.sounds
  FOR EACH STATEMENT EXECUTE FUNCTION bothhands.never_changed();

-- What became of each reading and of each entry of the out-list: the events of one log followed
-- from the first to the last, by the same rules as the program (`State::apply`).
--
--   item          'reading' or 'out'
--   number        the event that brought it
--   origin        the spoken reading that it stands for: another than itself only for what was put
--                 right at the desk
--   stands        of a reading: counts, waits for affirm, taken back, replaced;
--                 of an entry: out, back, never out
--   by_number     the event that replaced it or put it back
--   on_schedule   whether it is the one that its step was closed with
--   left_out      whether the person went on with it out, with a reason
CREATE FUNCTION bothhands.follow(of_log text) RETURNS TABLE (
  item text, number bigint, origin bigint, stands text, by_number bigint, on_schedule boolean,
  left_out boolean
) LANGUAGE plpgsql STABLE ROWS 100 COST 20000 AS $$
DECLARE
  last_number bigint;
  e record;
  stands_now text[];      -- by number, readings only
  replaced_by bigint[];   -- by number
  origin_of bigint[];     -- by number
  step_of integer[];      -- by number: which step, in any order
  closed_by bigint[];     -- by step: the event that closed it
  by_reading boolean[];   -- by step: whether that is a reading
  entries bigint[] := '{}';
  back_by bigint[];
  never_out boolean[];
  must_go_back boolean[];
  went_on boolean[];
  asked text;             -- the open question: reading, all back, never out, finish
  asked_no bigint;
  asked_entries bigint[];
  counts bigint;
  takes_back bigint;
  puts_back bigint[];
  n bigint;
BEGIN
  SELECT max(v.number) INTO last_number FROM bothhands.events v WHERE v.log = of_log;
  IF last_number IS NULL THEN
    RETURN;
  END IF;
  stands_now := array_fill(NULL::text, ARRAY[last_number::int + 1], ARRAY[0]);
  replaced_by := array_fill(NULL::bigint, ARRAY[last_number::int + 1], ARRAY[0]);
  origin_of := replaced_by;
  back_by := replaced_by;
  step_of := array_fill(NULL::integer, ARRAY[last_number::int + 1], ARRAY[0]);
  never_out := array_fill(false, ARRAY[last_number::int + 1], ARRAY[0]);
  must_go_back := never_out;
  went_on := never_out;

  FOR e IN
    SELECT v.number AS no, v.kind, v.payload AS p, (v.payload ->> 'of')::bigint AS of_no,
      dense_rank() OVER (ORDER BY v.payload ->> 'step')::int AS step
    FROM bothhands.events v
    WHERE v.log = of_log AND v.number IS NOT NULL AND v.kind IN (
      'reading', 'corrected-at-desk', 'affirmed', 'withdrawn', 'stated', 'not-tested', 'skipped',
      'taken-out', 'put-back', 'proposed-all-back', 'proposed-never-out', 'proposed-finish',
      'overridden', 'voltage-found', 'finished')
    ORDER BY v.number
  LOOP
    counts := NULL;
    takes_back := NULL;
    puts_back := NULL;
    CASE e.kind
      WHEN 'reading' THEN
        n := (e.p ->> 'replaces')::bigint;
        IF stands_now[n] IS NOT NULL THEN
          stands_now[n] := 'replaced';
          replaced_by[n] := e.no;
        END IF;
        stands_now[e.no] := 'waits for affirm';
        origin_of[e.no] := e.no;
        step_of[e.no] := e.step;
        IF e.p ? 'question' THEN
          closed_by[e.step] := NULL;
          asked := 'reading';
          asked_no := e.no;
        ELSE
          counts := e.no;
        END IF;
      WHEN 'affirmed' THEN
        IF e.of_no = asked_no AND asked <> 'finish' THEN
          IF asked = 'reading' THEN
            counts := asked_no;
          ELSIF asked = 'all back' THEN
            puts_back := asked_entries;
          ELSE
            takes_back := asked_entries[1];
          END IF;
          asked := NULL;
          asked_no := NULL;
        END IF;
      WHEN 'withdrawn' THEN
        takes_back := e.of_no;
      WHEN 'corrected-at-desk' THEN
        IF stands_now[e.of_no] IS NOT NULL THEN
          stands_now[e.of_no] := 'replaced';
          replaced_by[e.of_no] := e.no;
          stands_now[e.no] := 'counts';
          origin_of[e.no] := origin_of[e.of_no];
          step_of[e.no] := step_of[e.of_no];
          closed_by[step_of[e.no]] := e.no;
          by_reading[step_of[e.no]] := true;
          IF asked = 'reading' AND asked_no = e.of_no THEN
            asked := NULL;
            asked_no := NULL;
          END IF;
        END IF;
      WHEN 'stated', 'not-tested', 'skipped' THEN
        step_of[e.no] := e.step;
        closed_by[e.step] := e.no;
        by_reading[e.step] := false;
      WHEN 'taken-out' THEN
        entries := entries || e.no;
        must_go_back[e.no] :=
          (e.p ->> 'linked')::boolean OR e.p ->> 'part' = 'earthing-conductor';
      WHEN 'put-back' THEN
        puts_back := ARRAY(SELECT jsonb_array_elements_text(e.p -> 'entries')::bigint);
      WHEN 'proposed-all-back' THEN
        asked := 'all back';
        asked_no := e.no;
        asked_entries := ARRAY(SELECT jsonb_array_elements_text(e.p -> 'entries')::bigint);
      WHEN 'proposed-never-out' THEN
        asked := 'never out';
        asked_no := e.no;
        asked_entries := ARRAY[(e.p ->> 'entry')::bigint];
      WHEN 'proposed-finish' THEN
        asked := 'finish';
        asked_no := e.no;
      WHEN 'overridden' THEN
        IF e.p #>> '{bar,bar}' = 'still-out' THEN
          FOREACH n IN ARRAY entries LOOP
            IF back_by[n] IS NULL AND NOT never_out[n] AND NOT must_go_back[n] THEN
              went_on[n] := true;
            END IF;
          END LOOP;
        END IF;
      WHEN 'voltage-found' THEN
        IF asked = 'reading' THEN
          takes_back := asked_no;
        END IF;
        asked := NULL;
        asked_no := NULL;
      WHEN 'finished' THEN
        asked := NULL;
        asked_no := NULL;
    END CASE;

    IF counts IS NOT NULL THEN
      stands_now[counts] := 'counts';
      n := closed_by[step_of[counts]];
      IF n <> counts AND by_reading[step_of[counts]] THEN
        stands_now[n] := 'replaced';
        replaced_by[n] := counts;
      END IF;
      closed_by[step_of[counts]] := counts;
      by_reading[step_of[counts]] := true;
    END IF;

    IF takes_back IS NOT NULL THEN
      IF asked_no = takes_back THEN
        asked := NULL;
        asked_no := NULL;
      END IF;
      IF stands_now[takes_back] IS NOT NULL THEN
        stands_now[takes_back] := 'taken back';
      END IF;
      IF closed_by[step_of[takes_back]] = takes_back THEN
        closed_by[step_of[takes_back]] := NULL;
      END IF;
      -- A reading that another stood in the place of counts again when that one is taken back.
      SELECT min(i) INTO n FROM generate_subscripts(stands_now, 1) AS i
      WHERE stands_now[i] = 'replaced' AND replaced_by[i] = takes_back;
      IF n IS NOT NULL AND closed_by[step_of[n]] IS NULL THEN
        stands_now[n] := 'counts';
        closed_by[step_of[n]] := n;
        by_reading[step_of[n]] := true;
      END IF;
      FOREACH n IN ARRAY entries LOOP
        IF n = takes_back THEN
          never_out[n] := true;
        END IF;
        IF back_by[n] = takes_back THEN
          back_by[n] := NULL;
        END IF;
      END LOOP;
    END IF;

    IF puts_back IS NOT NULL THEN
      FOREACH n IN ARRAY entries LOOP
        IF n = ANY (puts_back) AND back_by[n] IS NULL AND NOT never_out[n] THEN
          back_by[n] := e.no;
        END IF;
      END LOOP;
    END IF;
  END LOOP;

  left_out := NULL;
  item := 'reading';
  FOR i IN 0 .. last_number LOOP
    IF stands_now[i] IS NOT NULL THEN
      number := i;
      origin := origin_of[i];
      stands := stands_now[i];
      by_number := CASE WHEN stands_now[i] = 'replaced' THEN replaced_by[i] END;
      on_schedule := coalesce(closed_by[step_of[i]] = i, false);
      RETURN NEXT;
    END IF;
  END LOOP;
  on_schedule := NULL;
  item := 'out';
  FOREACH n IN ARRAY entries LOOP
    number := n;
    origin := n;
    stands := CASE
      WHEN never_out[n] THEN 'never out' WHEN back_by[n] IS NULL THEN 'out' ELSE 'back' END;
    by_number := back_by[n];
    left_out := went_on[n];
    RETURN NEXT;
  END LOOP;
END
$$;

-- "line and neutral" for L+N, "all lines" for L1+L2+L3.
CREATE FUNCTION bothhands.conductors_said(conductors text) RETURNS text LANGUAGE sql IMMUTABLE AS $$
  SELECT concat_ws(' and ',
    CASE WHEN all_lines THEN 'all lines' END,
    (SELECT string_agg(
        CASE c
          WHEN 'L' THEN 'line' WHEN 'L1' THEN 'line one' WHEN 'L2' THEN 'line two'
          WHEN 'L3' THEN 'line three' WHEN 'N' THEN 'neutral' WHEN 'E' THEN 'earth' ELSE c
        END, ' and ' ORDER BY place)
      FROM unnest(string_to_array(conductors, '+')) WITH ORDINALITY AS one (c, place)
      WHERE NOT (all_lines AND c IN ('L1', 'L2', 'L3'))))
  FROM (SELECT string_to_array(conductors, '+') @> ARRAY['L1', 'L2', 'L3'] AS all_lines) AS said
$$;

-- "socket 3".
CREATE FUNCTION bothhands.place_said(place jsonb) RETURNS text LANGUAGE sql IMMUTABLE AS $$
  SELECT (place ->> 'name') || coalesce(' ' || (place ->> 'number'), '')
$$;

-- What a taken-out event took out: "both neutrals at socket 3".
CREATE FUNCTION bothhands.what_said(taken_out jsonb) RETURNS text LANGUAGE sql IMMUTABLE AS $$
  SELECT CASE
      WHEN place IS NULL THEN part || link
      WHEN part = '' THEN place || link
      ELSE part || link || ' at ' || place
    END
  FROM (
    SELECT
      CASE
        WHEN conductors IS NOT NULL AND (taken_out ->> 'both')::boolean
          THEN 'both ' || bothhands.conductors_said(conductors) || 's'
        WHEN conductors IS NOT NULL THEN bothhands.conductors_said(conductors)
        WHEN taken_out ->> 'part' = 'accessory' THEN ''
        WHEN taken_out ->> 'part' = 'switch' THEN 'switch position'
        ELSE replace(taken_out ->> 'part', '-', ' ')
      END AS part,
      CASE WHEN (taken_out ->> 'linked')::boolean THEN ' linked' ELSE '' END AS link,
      bothhands.place_said(taken_out -> 'place') AS place
    FROM (SELECT taken_out #>> '{part,conductors}' AS conductors) AS c
  ) AS said
$$;

-- A reading as written on a schedule, with its unit: ">999 MΩ", "over range".
CREATE FUNCTION bothhands.reading_said(reading jsonb) RETURNS text
LANGUAGE sql IMMUTABLE STRICT AS $$
  SELECT CASE reading ->> 'relation'
      WHEN 'over' THEN '>' WHEN 'under' THEN '<' WHEN 'over-range' THEN 'over range' ELSE ''
    END
    || CASE WHEN reading ->> 'relation' <> 'over-range' THEN coalesce(reading ->> 'number', '')
       ELSE '' END
    || CASE WHEN reading ? 'number' THEN coalesce(' ' || (reading ->> 'unit'), '') ELSE '' END
$$;

-- The job of each log, as it was opened.
CREATE VIEW bothhands.opened AS
SELECT e.log, e.at AS begun, e.device, e.payload ->> 'by' AS program, e.payload -> 'job' AS job
FROM bothhands.events e
WHERE e.number = 0 AND e.kind = 'opened';

-- One row for each log: what the job is, who tested, how far it came.
CREATE VIEW bothhands.jobs AS
SELECT
  o.job ->> 'title' AS job,
  replace(o.job ->> 'kind', '-', ' ') AS kind,
  o.job #>> '{site,name}' AS site,
  o.job #>> '{site,address}' AS address,
  o.job ->> 'tester' AS tester,
  o.job ->> 'supervisor' AS supervisor,
  o.job #>> '{supply,earthing}' AS earthing,
  o.begun,
  (SELECT max(e.at) FROM bothhands.events e
    WHERE e.log = o.log AND e.number IS NOT NULL AND e.kind <> 'corrected-at-desk') AS last_event,
  EXISTS (SELECT FROM bothhands.events e WHERE e.log = o.log AND e.kind = 'finished') AS finished,
  (SELECT count(*) FROM bothhands.events e
    WHERE e.log = o.log AND e.kind IN ('reading', 'corrected-at-desk')) AS readings,
  (SELECT count(*) FROM bothhands.follow(o.log) f
    JOIN bothhands.events e ON e.log = o.log AND e.number = f.number
    WHERE f.on_schedule AND e.payload #>> '{verdict,outcome}' = 'fail') AS outside_limits,
  (SELECT count(*) FROM bothhands.follow(o.log) f
    WHERE f.item = 'out' AND f.stands = 'out') AS still_out,
  (SELECT count(*) FROM bothhands.events e
    WHERE e.log = o.log AND e.number IS NOT NULL) AS events,
  o.device,
  o.program,
  o.log
FROM bothhands.opened o;

-- Every reading ever given, those that no longer count too.
CREATE VIEW bothhands.readings AS
SELECT
  o.job ->> 'title' AS job,
  o.job #>> '{site,name}' AS site,
  board,
  circuit,
  jsonb_path_query_first(o.job, '$.board[*] ? (@.number == $b).circuit[*] ? (@.number == $c).name',
    jsonb_build_object('b', board, 'c', circuit)) #>> '{}' AS circuit_name,
  s.payload ->> 'step' AS step,
  bothhands.place_said(s.payload -> 'place') AS place,
  r.payload #>> '{reading,pair}' AS pair,
  (r.payload #>> '{reading,at}')::integer AS test_volts,
  s.payload ->> 'half' AS half_cycle,
  bothhands.reading_said(r.payload -> 'reading') AS reading,
  (r.payload #>> '{reading,number}')::numeric AS value,
  replace(r.payload #>> '{reading,relation}', '-', ' ') AS relation,
  r.payload #>> '{reading,unit}' AS unit,
  CASE r.payload #>> '{verdict,outcome}'
    WHEN 'pass' THEN 'within the limit'
    WHEN 'fail' THEN 'outside the limit'
    WHEN 'cannot-say' THEN 'cannot say'
  END AS verdict,
  f.stands,
  f.stands IN ('replaced', 'taken back') AS superseded,
  f.by_number AS superseded_by,
  f.on_schedule,
  r.at AS read_at,
  o.job ->> 'tester' AS tester,
  r.device,
  v.words AS heard,
  v.sound_hash AS sound,
  o.log,
  r.number AS event
FROM bothhands.opened o
CROSS JOIN LATERAL bothhands.follow(o.log) f
JOIN bothhands.events r ON r.log = o.log AND r.number = f.number
JOIN bothhands.events s ON s.log = o.log AND s.number = f.origin
LEFT JOIN bothhands.evidence v ON v.hash = r.evidence
CROSS JOIN LATERAL (
  SELECT
    substring(s.payload ->> 'step' FROM '^b([0-9]+)/')::integer AS board,
    substring(s.payload ->> 'step' FROM '^b[0-9]+/c([0-9]+)/')::integer AS circuit
) AS at_step
WHERE f.item = 'reading';

-- Every verdict, with all that is needed to check it by hand.
CREATE VIEW bothhands.verdicts AS
SELECT
  r.job, r.site, r.board, r.circuit, r.circuit_name, r.step, r.place, r.reading, r.verdict,
  replace(e.payload #>> '{verdict,finding}', '-', ' ') AS finding,
  e.payload #>> '{verdict,limit}' AS limit_text,
  e.payload #>> '{verdict,clause}' AS clause,
  e.payload #>> '{verdict,edition}' AS edition,
  e.payload #>> '{verdict,arithmetic}' AS arithmetic,
  e.payload #>> '{verdict,remark}' AS remark,
  r.stands, r.superseded, r.on_schedule, r.read_at, r.tester, r.device, r.log, r.event
FROM bothhands.readings r
JOIN bothhands.events e ON e.log = r.log AND e.number = r.event
WHERE e.payload ? 'verdict';

-- Every reading that was taken back, put right or read again: what it was, what stands in its
-- place, and why.
CREATE VIEW bothhands.corrections AS
SELECT
  old.job, old.site, old.board, old.circuit, old.circuit_name, old.step, old.place,
  old.reading AS old_reading,
  bothhands.reading_said(n.payload -> 'reading') AS new_reading,
  c.why,
  c.at AS corrected_at,
  old.read_at AS old_read_at,
  old.tester,
  c.device,
  old.log,
  old.event AS old_event,
  n.number AS new_event,
  c.number AS correcting_event
FROM bothhands.readings old
CROSS JOIN LATERAL (
  SELECT e.number, e.at, e.device, e.payload ->> 'why' AS why,
    -- The reading said with the correction, else the next one of the same step.
    (SELECT min(later.number) FROM bothhands.events later
      WHERE later.log = old.log AND later.number > e.number AND later.kind = 'reading'
        AND (later.payload ->> 'step' = old.step
          OR (later.number = e.number + 1 AND later.at = e.at
            AND e.payload ->> 'why' = 'correction'))) AS new_number
  FROM bothhands.events e
  WHERE e.log = old.log AND e.kind = 'withdrawn'
    AND e.kind IN ('withdrawn', 'corrected-at-desk') AND (e.payload ->> 'of')::bigint = old.event
  UNION ALL
  SELECT e.number, e.at, e.device, 'at the desk: ' || (e.payload ->> 'reason'), e.number
  FROM bothhands.events e
  WHERE e.log = old.log AND e.kind = 'corrected-at-desk'
    AND e.kind IN ('withdrawn', 'corrected-at-desk') AND (e.payload ->> 'of')::bigint = old.event
  UNION ALL
  SELECT e.number, e.at, e.device, 'read again', e.number
  FROM bothhands.events e
  WHERE e.log = old.log AND e.number = old.superseded_by AND e.kind = 'reading'
) AS c
LEFT JOIN bothhands.events n ON n.log = old.log AND n.number = c.new_number;

-- Everything that was ever taken out, linked or moved for a test.
CREATE VIEW bothhands.out_list AS
SELECT
  o.job ->> 'title' AS job,
  o.job #>> '{site,name}' AS site,
  (e.payload ->> 'board')::integer AS board,
  (e.payload ->> 'circuit')::integer AS circuit,
  bothhands.what_said(e.payload) AS what,
  bothhands.place_said(e.payload -> 'place') AS place,
  CASE e.payload ->> 'parked'
    WHEN 'connector' THEN 'in a connector' ELSE e.payload ->> 'parked' END AS parked,
  e.at AS out_at,
  b.at AS back_at,
  coalesce(b.at, (SELECT max(l.at) FROM bothhands.events l
    WHERE l.log = o.log AND l.number IS NOT NULL AND l.kind <> 'corrected-at-desk'))
    - e.at AS out_for,
  f.stands = 'out' AS still_out,
  f.stands = 'never out' AS never_out,
  f.left_out AS gone_on_without,
  o.job ->> 'tester' AS tester,
  e.device,
  o.log,
  e.number AS event
FROM bothhands.opened o
CROSS JOIN LATERAL bothhands.follow(o.log) f
JOIN bothhands.events e ON e.log = o.log AND e.number = f.number
LEFT JOIN bothhands.events b ON b.log = o.log AND b.number = f.by_number
WHERE f.item = 'out';

INSERT INTO bothhands.version VALUES (1);

-- == version 2

-- What became of each reading and of each entry of the out-list, as the program folds the events:
-- sent with them, so that nothing here follows them by rules of its own. It may be made anew from
-- the events at any time.
CREATE TABLE bothhands.folded_logs (
  log text PRIMARY KEY REFERENCES bothhands.logs,
  number bigint NOT NULL
);
COMMENT ON COLUMN bothhands.folded_logs.number IS 'The last event that was folded';
CREATE TABLE bothhands.folded (
  log text NOT NULL REFERENCES bothhands.folded_logs,
  item text NOT NULL CHECK (item IN ('reading', 'out')),
  number bigint NOT NULL,
  origin bigint NOT NULL,
  stands text NOT NULL,
  by_number bigint,
  on_schedule boolean,
  left_out boolean,
  PRIMARY KEY (log, item, number)
);
COMMENT ON TABLE bothhands.folded IS 'The columns are those of the function follow';

-- What version 1 did stays for logs that were handed in by it, and only for those.
DO $copy$
BEGIN
  EXECUTE format(
    'CREATE FUNCTION bothhands.follow_events(of_log text) RETURNS TABLE (
       item text, number bigint, origin bigint, stands text, by_number bigint,
       on_schedule boolean, left_out boolean
     ) LANGUAGE plpgsql STABLE ROWS 100 COST 20000 AS %L',
    (SELECT prosrc FROM pg_catalog.pg_proc WHERE oid = 'bothhands.follow(text)'::regprocedure));
END
$copy$;

CREATE OR REPLACE FUNCTION bothhands.follow(of_log text) RETURNS TABLE (
  item text, number bigint, origin bigint, stands text, by_number bigint, on_schedule boolean,
  left_out boolean
) LANGUAGE plpgsql STABLE ROWS 100 COST 1000 AS $$
BEGIN
  IF EXISTS (SELECT FROM bothhands.folded_logs l WHERE l.log = of_log) THEN
    RETURN QUERY SELECT f.item, f.number, f.origin, f.stands, f.by_number, f.on_schedule, f.left_out
      FROM bothhands.folded f WHERE f.log = of_log ORDER BY f.item DESC, f.number;
  ELSE
    RETURN QUERY SELECT * FROM bothhands.follow_events(of_log);
  END IF;
END
$$;

-- A correction whose right words follow has a word of its own in logs of version 2.
CREATE OR REPLACE VIEW bothhands.corrections AS
SELECT
  old.job, old.site, old.board, old.circuit, old.circuit_name, old.step, old.place,
  old.reading AS old_reading,
  bothhands.reading_said(n.payload -> 'reading') AS new_reading,
  c.why,
  c.at AS corrected_at,
  old.read_at AS old_read_at,
  old.tester,
  c.device,
  old.log,
  old.event AS old_event,
  n.number AS new_event,
  c.number AS correcting_event
FROM bothhands.readings old
CROSS JOIN LATERAL (
  SELECT e.number, e.at, e.device,
    CASE e.payload ->> 'why' WHEN 'replaced' THEN 'correction' ELSE e.payload ->> 'why' END AS why,
    -- The reading said with the correction, else the next one of the same step.
    (SELECT min(later.number) FROM bothhands.events later
      WHERE later.log = old.log AND later.number > e.number AND later.kind = 'reading'
        AND (later.payload ->> 'step' = old.step
          OR (later.number = e.number + 1 AND later.at = e.at
            AND e.payload ->> 'why' IN ('correction', 'replaced')))) AS new_number
  FROM bothhands.events e
  WHERE e.log = old.log AND e.kind = 'withdrawn'
    AND e.kind IN ('withdrawn', 'corrected-at-desk') AND (e.payload ->> 'of')::bigint = old.event
  UNION ALL
  SELECT e.number, e.at, e.device, 'at the desk: ' || (e.payload ->> 'reason'), e.number
  FROM bothhands.events e
  WHERE e.log = old.log AND e.kind = 'corrected-at-desk'
    AND e.kind IN ('withdrawn', 'corrected-at-desk') AND (e.payload ->> 'of')::bigint = old.event
  UNION ALL
  SELECT e.number, e.at, e.device, 'read again', e.number
  FROM bothhands.events e
  WHERE e.log = old.log AND e.number = old.superseded_by AND e.kind = 'reading'
) AS c
LEFT JOIN bothhands.events n ON n.log = old.log AND n.number = c.new_number;

INSERT INTO bothhands.version VALUES (2);

-- == version 3

-- A log that was handed in before it was replayed first, and that nothing can follow, is in
-- nobody's way: the views leave it out, and `not_followed` names it.
CREATE OR REPLACE FUNCTION bothhands.follow(of_log text) RETURNS TABLE (
  item text, number bigint, origin bigint, stands text, by_number bigint, on_schedule boolean,
  left_out boolean
) LANGUAGE plpgsql STABLE ROWS 100 COST 1000 AS $$
BEGIN
  IF EXISTS (SELECT FROM bothhands.folded_logs l WHERE l.log = of_log) THEN
    RETURN QUERY SELECT f.item, f.number, f.origin, f.stands, f.by_number, f.on_schedule, f.left_out
      FROM bothhands.folded f WHERE f.log = of_log ORDER BY f.item DESC, f.number;
  ELSE
    BEGIN
      RETURN QUERY SELECT * FROM bothhands.follow_events(of_log);
    EXCEPTION WHEN OTHERS THEN
      RETURN;
    END;
  END IF;
END
$$;

-- Why a log can't be followed; nothing where it can.
CREATE FUNCTION bothhands.why_not_followed(of_log text) RETURNS text
LANGUAGE plpgsql STABLE COST 20000 AS $$
BEGIN
  IF NOT EXISTS (SELECT FROM bothhands.folded_logs l WHERE l.log = of_log) THEN
    PERFORM count(*) FROM bothhands.follow_events(of_log);
  END IF;
  RETURN NULL;
EXCEPTION WHEN OTHERS THEN
  RETURN SQLERRM;
END
$$;

-- Logs that the other views leave out.
CREATE VIEW bothhands.not_followed AS
SELECT l.log, w.why, l.handed_in_at, l.handed_in_by
FROM bothhands.logs l
CROSS JOIN LATERAL (SELECT bothhands.why_not_followed(l.log) AS why) AS w
WHERE w.why IS NOT NULL;

-- What a taken-out event took out, with what a log of the second edition may hold: a crossing, a
-- bond by its name, all lamps.
CREATE OR REPLACE FUNCTION bothhands.what_said(taken_out jsonb) RETURNS text
LANGUAGE sql IMMUTABLE AS $$
  SELECT CASE
      WHEN place IS NULL THEN part || link
      WHEN part = '' THEN place || link
      ELSE part || link || ' at ' || place
    END
  FROM (
    SELECT
      CASE
        WHEN conductors IS NOT NULL AND (taken_out ->> 'both')::boolean
          THEN 'both ' || bothhands.conductors_said(conductors) || 's'
        WHEN conductors IS NOT NULL THEN bothhands.conductors_said(conductors)
        WHEN crossing IS NOT NULL THEN bothhands.conductors_said(crossing) || ' crossed'
        WHEN taken_out ->> 'part' = 'accessory' THEN ''
        WHEN taken_out ->> 'part' = 'bond' AND taken_out ? 'place' THEN ''
        WHEN taken_out ->> 'part' = 'bond' THEN 'main bond'
        WHEN taken_out ->> 'part' = 'lamp' AND (taken_out ->> 'both')::boolean THEN 'all lamps'
        WHEN taken_out ->> 'part' = 'switch' THEN 'switch position'
        ELSE replace(taken_out ->> 'part', '-', ' ')
      END AS part,
      CASE WHEN (taken_out ->> 'linked')::boolean AND crossing IS NULL THEN ' linked' ELSE '' END
        AS link,
      bothhands.place_said(taken_out -> 'place') AS place
    FROM (SELECT taken_out #>> '{part,conductors}' AS conductors,
      taken_out #>> '{part,crossing}' AS crossing) AS c
  ) AS said
$$;

INSERT INTO bothhands.version VALUES (3);

-- == version 4

-- What a verdict says, in words: an event keeps which sentences, and their figures.
ALTER TABLE bothhands.folded
  ADD COLUMN limit_text text, ADD COLUMN arithmetic text, ADD COLUMN remark text;

CREATE OR REPLACE VIEW bothhands.verdicts AS
SELECT
  r.job, r.site, r.board, r.circuit, r.circuit_name, r.step, r.place, r.reading, r.verdict,
  replace(e.payload #>> '{verdict,finding}', '-', ' ') AS finding,
  coalesce(f.limit_text, e.payload #>> '{verdict,limit}') AS limit_text,
  e.payload #>> '{verdict,clause}' AS clause,
  e.payload #>> '{verdict,edition}' AS edition,
  coalesce(f.arithmetic, e.payload #>> '{verdict,arithmetic}') AS arithmetic,
  coalesce(f.remark, e.payload #>> '{verdict,remark}') AS remark,
  r.stands, r.superseded, r.on_schedule, r.read_at, r.tester, r.device, r.log, r.event
FROM bothhands.readings r
JOIN bothhands.events e ON e.log = r.log AND e.number = r.event
LEFT JOIN bothhands.folded f ON f.log = r.log AND f.item = 'reading' AND f.number = r.event
WHERE e.payload ? 'verdict';

INSERT INTO bothhands.version VALUES (4);

-- == version 5

-- Practice on a simulated installation is no test: whoever looks for tests asks for `NOT practised`.
CREATE OR REPLACE VIEW bothhands.opened AS
SELECT e.log, e.at AS begun, e.device, e.payload ->> 'by' AS program, e.payload -> 'job' AS job,
  CASE jsonb_typeof(e.payload -> 'practice') WHEN 'object' THEN e.payload -> 'practice' END
    AS practice,
  coalesce(jsonb_typeof(e.payload #> '{practice,simulated}') = 'object', false) AS practised
FROM bothhands.events e
WHERE e.number = 0 AND e.kind = 'opened';

CREATE OR REPLACE VIEW bothhands.jobs AS
SELECT
  o.job ->> 'title' AS job,
  replace(o.job ->> 'kind', '-', ' ') AS kind,
  o.job #>> '{site,name}' AS site,
  o.job #>> '{site,address}' AS address,
  o.job ->> 'tester' AS tester,
  o.job ->> 'supervisor' AS supervisor,
  o.job #>> '{supply,earthing}' AS earthing,
  o.begun,
  (SELECT max(e.at) FROM bothhands.events e
    WHERE e.log = o.log AND e.number IS NOT NULL AND e.kind <> 'corrected-at-desk') AS last_event,
  EXISTS (SELECT FROM bothhands.events e WHERE e.log = o.log AND e.kind = 'finished') AS finished,
  (SELECT count(*) FROM bothhands.events e
    WHERE e.log = o.log AND e.kind IN ('reading', 'corrected-at-desk')) AS readings,
  (SELECT count(*) FROM bothhands.follow(o.log) f
    JOIN bothhands.events e ON e.log = o.log AND e.number = f.number
    WHERE f.on_schedule AND e.payload #>> '{verdict,outcome}' = 'fail') AS outside_limits,
  (SELECT count(*) FROM bothhands.follow(o.log) f
    WHERE f.item = 'out' AND f.stands = 'out') AS still_out,
  (SELECT count(*) FROM bothhands.events e
    WHERE e.log = o.log AND e.number IS NOT NULL) AS events,
  o.device,
  o.program,
  o.log,
  o.practised
FROM bothhands.opened o;

CREATE OR REPLACE VIEW bothhands.readings AS
SELECT
  o.job ->> 'title' AS job,
  o.job #>> '{site,name}' AS site,
  board,
  circuit,
  jsonb_path_query_first(o.job, '$.board[*] ? (@.number == $b).circuit[*] ? (@.number == $c).name',
    jsonb_build_object('b', board, 'c', circuit)) #>> '{}' AS circuit_name,
  s.payload ->> 'step' AS step,
  bothhands.place_said(s.payload -> 'place') AS place,
  r.payload #>> '{reading,pair}' AS pair,
  (r.payload #>> '{reading,at}')::integer AS test_volts,
  s.payload ->> 'half' AS half_cycle,
  bothhands.reading_said(r.payload -> 'reading') AS reading,
  (r.payload #>> '{reading,number}')::numeric AS value,
  replace(r.payload #>> '{reading,relation}', '-', ' ') AS relation,
  r.payload #>> '{reading,unit}' AS unit,
  CASE r.payload #>> '{verdict,outcome}'
    WHEN 'pass' THEN 'within the limit'
    WHEN 'fail' THEN 'outside the limit'
    WHEN 'cannot-say' THEN 'cannot say'
  END AS verdict,
  f.stands,
  f.stands IN ('replaced', 'taken back') AS superseded,
  f.by_number AS superseded_by,
  f.on_schedule,
  r.at AS read_at,
  o.job ->> 'tester' AS tester,
  r.device,
  v.words AS heard,
  v.sound_hash AS sound,
  o.log,
  r.number AS event,
  o.practised
FROM bothhands.opened o
CROSS JOIN LATERAL bothhands.follow(o.log) f
JOIN bothhands.events r ON r.log = o.log AND r.number = f.number
JOIN bothhands.events s ON s.log = o.log AND s.number = f.origin
LEFT JOIN bothhands.evidence v ON v.hash = r.evidence
CROSS JOIN LATERAL (
  SELECT
    substring(s.payload ->> 'step' FROM '^b([0-9]+)/')::integer AS board,
    substring(s.payload ->> 'step' FROM '^b[0-9]+/c([0-9]+)/')::integer AS circuit
) AS at_step
WHERE f.item = 'reading';

CREATE OR REPLACE VIEW bothhands.verdicts AS
SELECT
  r.job, r.site, r.board, r.circuit, r.circuit_name, r.step, r.place, r.reading, r.verdict,
  replace(e.payload #>> '{verdict,finding}', '-', ' ') AS finding,
  coalesce(f.limit_text, e.payload #>> '{verdict,limit}') AS limit_text,
  e.payload #>> '{verdict,clause}' AS clause,
  e.payload #>> '{verdict,edition}' AS edition,
  coalesce(f.arithmetic, e.payload #>> '{verdict,arithmetic}') AS arithmetic,
  coalesce(f.remark, e.payload #>> '{verdict,remark}') AS remark,
  r.stands, r.superseded, r.on_schedule, r.read_at, r.tester, r.device, r.log, r.event,
  r.practised
FROM bothhands.readings r
JOIN bothhands.events e ON e.log = r.log AND e.number = r.event
LEFT JOIN bothhands.folded f ON f.log = r.log AND f.item = 'reading' AND f.number = r.event
WHERE e.payload ? 'verdict';

CREATE OR REPLACE VIEW bothhands.corrections AS
SELECT
  old.job, old.site, old.board, old.circuit, old.circuit_name, old.step, old.place,
  old.reading AS old_reading,
  bothhands.reading_said(n.payload -> 'reading') AS new_reading,
  c.why,
  c.at AS corrected_at,
  old.read_at AS old_read_at,
  old.tester,
  c.device,
  old.log,
  old.event AS old_event,
  n.number AS new_event,
  c.number AS correcting_event,
  old.practised
FROM bothhands.readings old
CROSS JOIN LATERAL (
  SELECT e.number, e.at, e.device,
    CASE e.payload ->> 'why' WHEN 'replaced' THEN 'correction' ELSE e.payload ->> 'why' END AS why,
    -- The reading said with the correction, else the next one of the same step.
    (SELECT min(later.number) FROM bothhands.events later
      WHERE later.log = old.log AND later.number > e.number AND later.kind = 'reading'
        AND (later.payload ->> 'step' = old.step
          OR (later.number = e.number + 1 AND later.at = e.at
            AND e.payload ->> 'why' IN ('correction', 'replaced')))) AS new_number
  FROM bothhands.events e
  WHERE e.log = old.log AND e.kind = 'withdrawn'
    AND e.kind IN ('withdrawn', 'corrected-at-desk') AND (e.payload ->> 'of')::bigint = old.event
  UNION ALL
  SELECT e.number, e.at, e.device, 'at the desk: ' || (e.payload ->> 'reason'), e.number
  FROM bothhands.events e
  WHERE e.log = old.log AND e.kind = 'corrected-at-desk'
    AND e.kind IN ('withdrawn', 'corrected-at-desk') AND (e.payload ->> 'of')::bigint = old.event
  UNION ALL
  SELECT e.number, e.at, e.device, 'read again', e.number
  FROM bothhands.events e
  WHERE e.log = old.log AND e.number = old.superseded_by AND e.kind = 'reading'
) AS c
LEFT JOIN bothhands.events n ON n.log = old.log AND n.number = c.new_number;

CREATE OR REPLACE VIEW bothhands.out_list AS
SELECT
  o.job ->> 'title' AS job,
  o.job #>> '{site,name}' AS site,
  (e.payload ->> 'board')::integer AS board,
  (e.payload ->> 'circuit')::integer AS circuit,
  bothhands.what_said(e.payload) AS what,
  bothhands.place_said(e.payload -> 'place') AS place,
  CASE e.payload ->> 'parked'
    WHEN 'connector' THEN 'in a connector' ELSE e.payload ->> 'parked' END AS parked,
  e.at AS out_at,
  b.at AS back_at,
  coalesce(b.at, (SELECT max(l.at) FROM bothhands.events l
    WHERE l.log = o.log AND l.number IS NOT NULL AND l.kind <> 'corrected-at-desk'))
    - e.at AS out_for,
  f.stands = 'out' AS still_out,
  f.stands = 'never out' AS never_out,
  f.left_out AS gone_on_without,
  o.job ->> 'tester' AS tester,
  e.device,
  o.log,
  e.number AS event,
  o.practised
FROM bothhands.opened o
CROSS JOIN LATERAL bothhands.follow(o.log) f
JOIN bothhands.events e ON e.log = o.log AND e.number = f.number
LEFT JOIN bothhands.events b ON b.log = o.log AND b.number = f.by_number
WHERE f.item = 'out';

-- What the program makes of a log that somebody learned by: its sheet by the usual criteria, as the
-- program writes it, sent like all else that it folds; or why it can't be marked. And what it made
-- it by: a log that was handed in by an older program is folded anew when it comes again.
ALTER TABLE bothhands.folded_logs
  ADD COLUMN folded_as integer NOT NULL DEFAULT 0, ADD COLUMN sheet jsonb, ADD COLUMN not_marked text;

-- The step that was asked for when something was refused, and the words.
CREATE TABLE bothhands.folded_refusals (
  log text NOT NULL REFERENCES bothhands.folded_logs,
  number bigint NOT NULL,
  board integer,
  circuit integer,
  step text,
  said text NOT NULL,
  why text NOT NULL,
  PRIMARY KEY (log, number)
);

-- Everything that was refused, and every probing in practice that would have been refused on site,
-- with what came of it. Step and words are missing where a log was handed in before version 5 and
-- not again since.
CREATE VIEW bothhands.refusals AS
SELECT
  o.job ->> 'title' AS job,
  e.at,
  o.practice ->> 'learner' AS learner,
  o.job ->> 'tester' AS tester,
  f.board,
  f.circuit,
  f.step,
  e.kind,
  e.payload #>> '{bar,bar}' AS bar,
  f.why,
  f.said,
  v.words AS heard,
  v.sound_hash AS sound,
  CASE e.kind WHEN 'probed' THEN coalesce(e.payload -> 'came', '[]') END AS consequence,
  o.practised,
  o.log,
  e.number AS event
FROM bothhands.opened o
JOIN bothhands.events e ON e.log = o.log AND e.kind IN ('refused', 'probed')
LEFT JOIN bothhands.folded_refusals f ON f.log = e.log AND f.number = e.number
LEFT JOIN bothhands.evidence v ON v.hash = e.evidence
WHERE e.payload ? 'bar';

-- One row for each log that somebody learned by, on a simulated or a real installation.
CREATE VIEW bothhands.practices AS
SELECT
  o.job ->> 'title' AS job,
  o.practice ->> 'learner' AS learner,
  coalesce(o.practice ->> 'level', 'led') AS level,
  coalesce((o.practice ->> 'predict')::boolean, false) AS predict,
  o.practised AS simulated,
  o.begun,
  j.finished,
  l.not_marked,
  o.log
FROM bothhands.opened o
JOIN bothhands.jobs j ON j.log = o.log
LEFT JOIN bothhands.folded_logs l ON l.log = o.log
WHERE o.practice IS NOT NULL;

-- The sheet of each of them.
CREATE VIEW bothhands.sheets AS
SELECT
  s.job, s.learner, s.level, s.simulated, s.begun, s.finished,
  (l.sheet ->> 'passed')::boolean AS passed,
  (l.sheet ->> 'points')::float8 AS points,
  (l.sheet ->> 'help')::integer AS help,
  (l.sheet #>> '{diagnosis,probings}')::integer AS probings,
  (l.sheet #>> '{diagnosis,fewest}')::integer AS fewest,
  s.log
FROM bothhands.practices s
JOIN bothhands.folded_logs l ON l.log = s.log
WHERE l.sheet IS NOT NULL;
COMMENT ON COLUMN bothhands.sheets.points IS 'The share of the points that could be had, from 0 to 1';

-- One row for each criterion of each sheet.
CREATE VIEW bothhands.marks AS
SELECT
  s.learner,
  m.mark ->> 'criterion' AS criterion,
  CASE jsonb_typeof(m.mark -> 'counts') WHEN 'object' THEN 'points'
    ELSE replace(m.mark ->> 'counts', '-', ' ') END AS counts,
  (m.mark #>> '{counts,points}')::float8 AS points,
  (m.mark ->> 'share')::float8 AS share,
  (m.mark ->> 'lapses')::integer AS lapses,
  s.log
FROM bothhands.sheets s
JOIN bothhands.folded_logs l ON l.log = s.log
CROSS JOIN LATERAL jsonb_array_elements(l.sheet -> 'marks') AS m (mark);

-- Everything that was done otherwise than it should be. What is `under` another event came of that
-- lapse and counts for nothing by itself.
CREATE VIEW bothhands.lapses AS
SELECT
  s.learner,
  m.lapse ->> 'criterion' AS criterion,
  (m.lapse ->> 'event')::bigint AS event,
  (m.lapse ->> 'at')::timestamptz AS at,
  (m.lapse ->> 'circuit')::integer AS circuit,
  m.lapse -> 'what' AS what,
  (m.lapse ->> 'under')::bigint AS under,
  v.sound_hash AS sound,
  s.log
FROM bothhands.sheets s
JOIN bothhands.folded_logs l ON l.log = s.log
CROSS JOIN LATERAL jsonb_array_elements(l.sheet -> 'lapses') AS m (lapse)
LEFT JOIN bothhands.evidence v ON v.hash = m.lapse ->> 'sound';

-- Each reading that counts: what was said, what the instrument showed, and how they compare.
CREATE VIEW bothhands.judged AS
SELECT
  s.learner,
  (m.reading ->> 'event')::bigint AS event,
  m.reading ->> 'step' AS step,
  bothhands.place_said(m.reading -> 'place') AS place,
  bothhands.reading_said(m.reading -> 'said') AS said,
  bothhands.reading_said(m.reading -> 'is') AS "is",
  m.reading ->> 'judgement' AS judgement,
  (m.reading ->> 'margin')::float8 AS margin,
  m.reading ->> 'struck' AS struck,
  v.sound_hash AS sound,
  s.log
FROM bothhands.sheets s
JOIN bothhands.folded_logs l ON l.log = s.log
CROSS JOIN LATERAL jsonb_array_elements(l.sheet -> 'readings') AS m (reading)
LEFT JOIN bothhands.evidence v ON v.hash = m.reading ->> 'sound';

-- Values and limits that were predicted; `said` is nothing for "there is no limit".
CREATE VIEW bothhands.predictions AS
SELECT
  s.learner,
  (m.prediction ->> 'event')::bigint AS event,
  m.prediction ->> 'step' AS step,
  m.prediction ->> 'of' AS of,
  bothhands.reading_said(nullif(m.prediction -> 'said', 'null')) AS said,
  bothhands.reading_said(m.prediction -> 'is') AS "is",
  (m.prediction ->> 'right')::boolean AS "right",
  s.log
FROM bothhands.sheets s
JOIN bothhands.folded_logs l ON l.log = s.log
CROSS JOIN LATERAL jsonb_array_elements(l.sheet -> 'predictions') AS m (prediction);

-- What was hidden (nothing while that is sealed) and what was named.
CREATE VIEW bothhands.diagnoses AS
SELECT
  s.learner,
  nullif(l.sheet #> '{diagnosis,hidden}', 'null') AS hidden,
  l.sheet #> '{diagnosis,named}' AS named,
  (l.sheet #>> '{diagnosis,said}')::boolean AS said,
  (l.sheet #>> '{diagnosis,kinds}')::integer AS kinds,
  (l.sheet #>> '{diagnosis,places}')::integer AS places,
  (l.sheet #>> '{diagnosis,wrong}')::integer AS wrong,
  s.log
FROM bothhands.sheets s
JOIN bothhands.folded_logs l ON l.log = s.log
WHERE l.sheet ? 'diagnosis';

INSERT INTO bothhands.version VALUES (5);

-- == version 6

-- Whether the read-back of a reading was broken off, and the value not told again: one that may have been misheard does
-- not count against the learner then.
CREATE OR REPLACE VIEW bothhands.judged AS
SELECT
  s.learner,
  (m.reading ->> 'event')::bigint AS event,
  m.reading ->> 'step' AS step,
  bothhands.place_said(m.reading -> 'place') AS place,
  bothhands.reading_said(m.reading -> 'said') AS said,
  bothhands.reading_said(m.reading -> 'is') AS "is",
  m.reading ->> 'judgement' AS judgement,
  (m.reading ->> 'margin')::float8 AS margin,
  m.reading ->> 'struck' AS struck,
  v.sound_hash AS sound,
  s.log,
  coalesce((m.reading ->> 'not_read_back')::boolean, false) AS not_read_back
FROM bothhands.sheets s
JOIN bothhands.folded_logs l ON l.log = s.log
CROSS JOIN LATERAL jsonb_array_elements(l.sheet -> 'readings') AS m (reading)
LEFT JOIN bothhands.evidence v ON v.hash = m.reading ->> 'sound';

INSERT INTO bothhands.version VALUES (6);
