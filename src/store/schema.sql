-- Version 1 of a log. `user_version` counts the migrations; `application_id` is the text "BOTH".

-- One row for each device that wrote events. `written_here`: this file is where it writes, not a
-- copy of its events taken from another file.
CREATE TABLE chain (
  id TEXT NOT NULL PRIMARY KEY CHECK (length(id) = 32),
  written_here INTEGER NOT NULL CHECK (written_here IN (0, 1))
) STRICT, WITHOUT ROWID;

-- What was heard, with its sound as a FLAC file; none where an export left it out.
CREATE TABLE evidence (
  hash TEXT NOT NULL UNIQUE CHECK (length(hash) = 64),
  sound_hash TEXT NOT NULL CHECK (length(sound_hash) = 64),
  rate INTEGER NOT NULL CHECK (rate > 0),
  samples INTEGER NOT NULL CHECK (samples > 0),
  start INTEGER NOT NULL CHECK (start >= 0),
  words TEXT NOT NULL,
  heard TEXT NOT NULL CHECK (json_valid(heard)),
  flac BLOB
) STRICT;

CREATE TABLE event (
  seq INTEGER PRIMARY KEY CHECK (seq > 0),
  id TEXT NOT NULL UNIQUE CHECK (length(id) = 32),
  chain TEXT NOT NULL REFERENCES chain (id),
  position INTEGER NOT NULL CHECK (position > 0),
  device TEXT NOT NULL,
  at TEXT NOT NULL,
  version INTEGER NOT NULL CHECK (version >= 0),
  kind TEXT NOT NULL,
  payload TEXT NOT NULL CHECK (json_valid(payload)),
  evidence TEXT REFERENCES evidence (hash),
  prev_hash TEXT NOT NULL CHECK (length(prev_hash) = 64),
  hash TEXT NOT NULL UNIQUE CHECK (length(hash) = 64)
) STRICT;

CREATE INDEX event_by_evidence ON event (evidence) WHERE evidence IS NOT NULL;

-- The last event of each chain: without it, a log that lost its end would still look whole.
CREATE TABLE head (
  hash TEXT NOT NULL PRIMARY KEY REFERENCES event (hash) DEFERRABLE INITIALLY DEFERRED,
  chain TEXT NOT NULL REFERENCES chain (id),
  position INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TRIGGER event_is_never_changed BEFORE UPDATE ON event
BEGIN SELECT RAISE(ABORT, 'events are never changed: a correction is a new event'); END;

CREATE TRIGGER event_is_never_deleted BEFORE DELETE ON event
BEGIN SELECT RAISE(ABORT, 'events are never deleted'); END;

CREATE TRIGGER evidence_is_never_changed BEFORE UPDATE ON evidence
BEGIN SELECT RAISE(ABORT, 'evidence is never changed'); END;

CREATE TRIGGER evidence_is_never_deleted BEFORE DELETE ON evidence
BEGIN SELECT RAISE(ABORT, 'evidence is never deleted'); END;

CREATE TRIGGER chain_is_never_changed BEFORE UPDATE ON chain
BEGIN SELECT RAISE(ABORT, 'chains are never changed'); END;

CREATE TRIGGER chain_is_never_deleted BEFORE DELETE ON chain
BEGIN SELECT RAISE(ABORT, 'chains are never deleted'); END;

-- INSERT OR REPLACE deletes without asking the triggers above, so an insert must be new.
CREATE TRIGGER evidence_is_new BEFORE INSERT ON evidence
WHEN EXISTS (SELECT 1 FROM evidence WHERE hash = NEW.hash OR rowid = NEW.rowid)
BEGIN SELECT RAISE(ABORT, 'this evidence is already kept'); END;

CREATE TRIGGER event_is_next BEFORE INSERT ON event
WHEN NEW.seq <> (SELECT coalesce(max(seq), 0) + 1 FROM event)
  OR EXISTS (SELECT 1 FROM event WHERE id = NEW.id OR hash = NEW.hash)
BEGIN SELECT RAISE(ABORT, 'an event goes to the end of the log, once'); END;

CREATE TRIGGER event_follows BEFORE INSERT ON event
WHEN NEW.position > 1 AND NOT EXISTS (
  SELECT 1 FROM event
  WHERE hash = NEW.prev_hash AND chain = NEW.chain AND position = NEW.position - 1)
BEGIN SELECT RAISE(ABORT, 'an event names the one before it in its chain'); END;

CREATE TRIGGER event_is_head AFTER INSERT ON event
BEGIN
  DELETE FROM head WHERE hash = NEW.prev_hash AND chain = NEW.chain;
  INSERT INTO head (hash, chain, position) VALUES (NEW.hash, NEW.chain, NEW.position);
END;
