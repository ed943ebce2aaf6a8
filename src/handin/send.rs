use super::error::{Diverged, HandInError};
use super::fold::{FOLDED_AS, Folded, Marks, RefusalRow};
use crate::store::{Digest256, Evidence, JOB_KIND, Record, Store};
use postgres::{Client, Transaction};
use std::collections::{HashMap, HashSet};

/// How much goes in one transaction: so many events, or events and sound of so many bytes.
const BATCH_EVENTS: usize = 500;
const BATCH_BYTES: usize = 8 << 20;

/// What handing in one log did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct HandedIn {
    /// Events in the log.
    pub events: u64,
    /// Events that the server did not have yet.
    pub new_events: u64,
    /// Sounds that the server did not have yet.
    pub new_sounds: u64,
    /// Events that only the server has: this file is an older copy.
    pub only_there: u64,
}

impl HandedIn {
    /// Adds what handing in another log did.
    pub fn add(&mut self, other: &Self) {
        self.events += other.events;
        self.new_events += other.new_events;
        self.new_sounds += other.new_sounds;
        self.only_there += other.only_there;
    }
}

/// Hands in one log that was found whole: one of the [threads](Store::threads) of a store, with
/// what it folds to. `went_on` is told each time that the server has answered.
///
/// # Errors
/// When the log can't be read, the server or the way to it fails, or the server has other events
/// for it.
pub fn hand_in(
    client: &mut Client,
    store: &Store,
    thread: &[Record],
    folded: &Folded,
    with_sound: bool,
    went_on: &dyn Fn(),
) -> Result<HandedIn, HandInError> {
    let Some(first) = thread.first() else {
        return Ok(HandedIn::default());
    };
    let log = first.id.to_string();
    client.execute(
        "SELECT pg_advisory_lock(hashtextextended('bothhands ' || $1, 0))",
        &[&log],
    )?;
    went_on();
    let done = hand_in_locked(client, store, &log, thread, with_sound, went_on).and_then(|done| {
        if done.only_there == 0 {
            send_folded(client, &log, folded)?;
        }
        Ok(done)
    });
    went_on();
    let unlocked = client.execute(
        "SELECT pg_advisory_unlock(hashtextextended('bothhands ' || $1, 0))",
        &[&log],
    );
    let done = done?;
    unlocked?;
    Ok(done)
}

fn hand_in_locked(
    client: &mut Client,
    store: &Store,
    log: &str,
    thread: &[Record],
    with_sound: bool,
    went_on: &dyn Fn(),
) -> Result<HandedIn, HandInError> {
    let there = compare(client, thread)?;
    went_on();
    let (known, new) = thread.split_at_checked(there).unwrap_or((thread, &[]));
    let mut done = HandedIn {
        events: thread.len() as u64,
        new_events: new.len() as u64,
        only_there: there.saturating_sub(thread.len()) as u64,
        ..HandedIn::default()
    };
    let mut rows = rows(thread)?.split_off(known.len()).into_iter();
    let mut pending = Batch::default();
    for record in new {
        if let Some(row) = rows.next() {
            pending.bytes += record.payload.len();
            pending.rows.push(row);
        }
        if let Some(hash) = record.evidence {
            pending.add_evidence(store, &hash, with_sound)?;
        }
        if pending.is_full() {
            done.new_sounds += std::mem::take(&mut pending).send(client, log)?;
            went_on();
        }
    }
    done.new_sounds += pending.send(client, log)?;
    went_on();
    if with_sound {
        done.new_sounds += sounds_left_out_before(client, store, log, known, went_on)?;
    }
    Ok(done)
}

/// How many events of the log the server has, when they are the same as here.
fn compare(client: &mut Client, thread: &[Record]) -> Result<usize, HandInError> {
    let Some(first) = thread.first() else {
        return Ok(0);
    };
    let log = first.id.to_string();
    let last: i64 = client
        .query_one(
            "SELECT coalesce(max(seq), 0) FROM bothhands.events WHERE log = $1",
            &[&log],
        )?
        .try_get(0)?;
    let count = usize::try_from(last).unwrap_or_default();
    if count == 0 {
        return Ok(0);
    }
    // Each hash covers all events before it: when the last one that both have is the same, all are.
    let both = count.min(thread.len());
    let same = |client: &mut Client, both: usize| -> Result<bool, HandInError> {
        let row = client.query_opt(
            "SELECT hash FROM bothhands.events WHERE log = $1 AND seq = $2",
            &[&log, &number(both as u64)?],
        )?;
        let there: Option<String> = row.map(|row| row.try_get(0)).transpose()?;
        let here = both.checked_sub(1).and_then(|last| thread.get(last));
        Ok(there == here.map(|record| record.hash.to_string()))
    };
    if same(client, both)? {
        return Ok(count);
    }
    // The first that differs: up to `low` they are the same, at `high` they are not.
    let (mut low, mut high) = (0, both);
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if same(client, middle)? {
            low = middle;
        } else {
            high = middle;
        }
    }
    let there = client.query_opt(
        "SELECT id || ', ' || kind || ', '
           || to_char(at AT TIME ZONE 'UTC', 'YYYY-MM-DD\"T\"HH24:MI:SS\"Z\"') || ', on ' || device
         FROM bothhands.events WHERE log = $1 AND seq = $2",
        &[&log, &number(high as u64)?],
    )?;
    let there: Option<String> = there.map(|row| row.try_get(0)).transpose()?;
    let here = thread.get(high - 1).map(|record| {
        format!(
            "{}, {}, {:.0}, on {}",
            record.id, record.kind, record.at, record.device
        )
    });
    Err(Box::new(Diverged {
        log: first.id,
        seq: high as u64,
        here: here.unwrap_or_default(),
        there: there.unwrap_or_default(),
    })
    .into())
}

/// One row of `bothhands.events`.
struct Row {
    seq: i64,
    number: Option<i64>,
    position: i64,
    version: i32,
    /// Only where the text as written is not one that the server can query.
    cleaned: Option<String>,
    record: Record,
}

fn rows(thread: &[Record]) -> Result<Vec<Row>, HandInError> {
    let mut next = 0;
    (1..)
        .zip(thread)
        .map(|(seq, record)| {
            let said = record.kind != JOB_KIND;
            let row = Row {
                seq,
                number: said.then_some(next),
                position: number(record.position)?,
                version: i32::try_from(record.version)
                    .map_err(|_| HandInError::TooLarge(record.seq))?,
                cleaned: without_nul(&record.payload),
                record: record.clone(),
            };
            next += i64::from(said);
            Ok(row)
        })
        .collect()
}

fn number(n: u64) -> Result<i64, HandInError> {
    i64::try_from(n).map_err(|_| HandInError::TooLarge(n))
}

/// JSON that the server can query. It cannot keep U+0000 in what is queried: there it becomes
/// U+FFFD. Nothing where the text will do as it is.
fn without_nul(json: &str) -> Option<String> {
    if !json.contains("\\u0000") {
        return None;
    }
    let value: serde_json::Value = serde_json::from_str(json).ok()?;
    let text = serde_json::to_string(&cleaned(value)).ok()?;
    Some(text)
}

fn cleaned(value: serde_json::Value) -> serde_json::Value {
    use serde_json::Value;
    let clean = |text: String| text.replace('\0', "\u{fffd}");
    match value {
        Value::String(text) => Value::String(clean(text)),
        Value::Array(list) => Value::Array(list.into_iter().map(cleaned).collect()),
        Value::Object(map) => Value::Object(
            map.into_iter()
                .map(|(name, value)| (clean(name), cleaned(value)))
                .collect(),
        ),
        other => other,
    }
}

/// What goes in one transaction.
#[derive(Default)]
struct Batch {
    rows: Vec<Row>,
    evidence: HashMap<Digest256, Evidence>,
    sounds: HashMap<Digest256, Vec<u8>>,
    bytes: usize,
}

impl Batch {
    fn is_full(&self) -> bool {
        self.rows.len() >= BATCH_EVENTS || self.bytes >= BATCH_BYTES
    }

    fn add_evidence(
        &mut self,
        store: &Store,
        hash: &Digest256,
        with_sound: bool,
    ) -> Result<(), HandInError> {
        if self.evidence.contains_key(hash) {
            return Ok(());
        }
        if let Some(evidence) = store.evidence(hash)? {
            if with_sound && let Some(flac) = evidence.flac() {
                self.bytes += flac.len();
                self.sounds.insert(evidence.sound_hash(), flac.to_vec());
            }
            self.evidence.insert(*hash, evidence);
        }
        Ok(())
    }

    /// Sends it all, or nothing. Tells how many sounds the server did not have.
    fn send(self, client: &mut Client, log: &str) -> Result<u64, HandInError> {
        if self.rows.is_empty() && self.sounds.is_empty() {
            return Ok(0);
        }
        let mut tx = client.transaction()?;
        if !self.rows.is_empty() {
            tx.execute(
                "INSERT INTO bothhands.logs (log) VALUES ($1) ON CONFLICT DO NOTHING",
                &[&log],
            )?;
            send_evidence(&mut tx, &self.evidence)?;
        }
        let sounds = send_sounds(&mut tx, &self.sounds)?;
        if !self.rows.is_empty() {
            send_events(&mut tx, log, &self.rows)?;
        }
        tx.commit()?;
        Ok(sounds)
    }
}

fn send_evidence(
    tx: &mut Transaction<'_>,
    evidence: &HashMap<Digest256, Evidence>,
) -> Result<(), HandInError> {
    if evidence.is_empty() {
        return Ok(());
    }
    let (mut hash, mut sound, mut rate) = (Vec::new(), Vec::new(), Vec::new());
    let (mut samples, mut start, mut words) = (Vec::new(), Vec::new(), Vec::new());
    let (mut heard, mut cleaned) = (Vec::new(), Vec::new());
    for (name, one) in evidence {
        hash.push(name.to_string());
        sound.push(one.sound_hash().to_string());
        rate.push(i32::try_from(one.rate()).unwrap_or(i32::MAX));
        samples.push(number(one.samples())?);
        start.push(number(one.start())?);
        words.push(one.words());
        heard.push(one.heard_as_written());
        cleaned.push(without_nul(one.heard_as_written()));
    }
    tx.execute(
        "INSERT INTO bothhands.evidence
           (hash, sound_hash, rate, samples, start, words, heard_as_written, heard)
         SELECT hash, sound, rate, samples, start, words, heard, coalesce(cleaned, heard)::jsonb
         FROM unnest($1::text[], $2::text[], $3::int4[], $4::int8[], $5::int8[], $6::text[],
           $7::text[], $8::text[])
           AS new (hash, sound, rate, samples, start, words, heard, cleaned)
         ON CONFLICT DO NOTHING",
        &[
            &hash, &sound, &rate, &samples, &start, &words, &heard, &cleaned,
        ],
    )?;
    Ok(())
}

fn send_sounds(
    tx: &mut Transaction<'_>,
    sounds: &HashMap<Digest256, Vec<u8>>,
) -> Result<u64, HandInError> {
    if sounds.is_empty() {
        return Ok(0);
    }
    let (names, flac): (Vec<String>, Vec<&[u8]>) = sounds
        .iter()
        .map(|(name, flac)| (name.to_string(), flac.as_slice()))
        .unzip();
    let new = tx.execute(
        "INSERT INTO bothhands.sounds (sound_hash, flac)
         SELECT * FROM unnest($1::text[], $2::bytea[]) ON CONFLICT DO NOTHING",
        &[&names, &flac],
    )?;
    Ok(new)
}

fn send_events(tx: &mut Transaction<'_>, log: &str, rows: &[Row]) -> Result<(), HandInError> {
    fn column<'a, T>(rows: &'a [Row], of: impl Fn(&'a Row) -> T) -> Vec<T> {
        rows.iter().map(of).collect()
    }
    tx.execute(
        "INSERT INTO bothhands.events
           (log, seq, number, position, version, payload_as_written, payload, id, chain, device,
            at, kind, evidence, prev_hash, hash)
         SELECT $1, seq, number, position, version, written, coalesce(cleaned, written)::jsonb, id,
           chain, device, at::timestamptz, kind, evidence, prev_hash, hash
         FROM unnest($2::int8[], $3::int8[], $4::int8[], $5::int4[], $6::text[], $7::text[],
           $8::text[], $9::text[], $10::text[], $11::text[], $12::text[], $13::text[],
           $14::text[], $15::text[])
           AS new (seq, number, position, version, written, cleaned, id, chain, device, at, kind,
             evidence, prev_hash, hash)
         ORDER BY seq",
        &[
            &log,
            &column(rows, |row| row.seq),
            &column(rows, |row| row.number),
            &column(rows, |row| row.position),
            &column(rows, |row| row.version),
            &column(rows, |row| row.record.payload.as_str()),
            &column(rows, |row| row.cleaned.as_deref()),
            &column(rows, |row| row.record.id.to_string()),
            &column(rows, |row| row.record.chain.to_string()),
            &column(rows, |row| row.record.device.as_str()),
            &column(rows, |row| row.record.written_at()),
            &column(rows, |row| row.record.kind.as_str()),
            &column(rows, |row| row.record.evidence.map(|hash| hash.to_string())),
            &column(rows, |row| row.record.prev_hash.to_string()),
            &column(rows, |row| row.record.hash.to_string()),
        ],
    )?;
    Ok(())
}

/// Puts what the log folds to in the place of what was there, unless that is the same already.
fn send_folded(client: &mut Client, log: &str, folded: &Folded) -> Result<(), HandInError> {
    let last = number(folded.last)?;
    let there = client
        .query_opt(
            "SELECT number, folded_as FROM bothhands.folded_logs WHERE log = $1",
            &[&log],
        )?
        .map(|row| Ok::<(i64, i32), HandInError>((row.try_get(0)?, row.try_get(1)?)))
        .transpose()?;
    if there == Some((last, FOLDED_AS)) {
        return Ok(());
    }
    let (sheet, not_marked) = match &folded.marks {
        Marks::None => (None, None),
        Marks::Sheet(sheet) => (
            Some(without_nul(sheet).unwrap_or_else(|| sheet.clone())),
            None,
        ),
        Marks::NotMarked(why) => (None, Some(why.replace('\0', "\u{fffd}"))),
    };
    let numbers = |of: &dyn Fn(&super::FoldedRow) -> Option<u64>| {
        let rows = folded.rows.iter();
        rows.map(|row| of(row).map(number).transpose())
            .collect::<Result<Vec<Option<i64>>, HandInError>>()
    };
    let rows = &folded.rows;
    let said = |which: usize| {
        let rows = rows.iter();
        let all = rows.map(|row| row.said.get(which).and_then(Option::as_deref));
        all.collect::<Vec<_>>()
    };
    let mut tx = client.transaction()?;
    tx.execute(
        "INSERT INTO bothhands.folded_logs (log, number, folded_as, sheet, not_marked)
         VALUES ($1, $2, $3, $4::text::jsonb, $5)
         ON CONFLICT (log) DO UPDATE SET number = excluded.number, folded_as = excluded.folded_as,
           sheet = excluded.sheet, not_marked = excluded.not_marked",
        &[&log, &last, &FOLDED_AS, &sheet, &not_marked],
    )?;
    tx.execute("DELETE FROM bothhands.folded WHERE log = $1", &[&log])?;
    tx.execute(
        "INSERT INTO bothhands.folded
           (log, item, number, origin, stands, by_number, on_schedule, left_out, limit_text,
            arithmetic, remark)
         SELECT $1, * FROM unnest($2::text[], $3::int8[], $4::int8[], $5::text[], $6::int8[],
           $7::bool[], $8::bool[], $9::text[], $10::text[], $11::text[])",
        &[
            &log,
            &rows.iter().map(|row| row.item).collect::<Vec<_>>(),
            &numbers(&|row| Some(row.number))?,
            &numbers(&|row| Some(row.origin))?,
            &rows.iter().map(|row| row.stands).collect::<Vec<_>>(),
            &numbers(&|row| row.by)?,
            &rows.iter().map(|row| row.on_schedule).collect::<Vec<_>>(),
            &rows.iter().map(|row| row.left_out).collect::<Vec<_>>(),
            &said(0),
            &said(1),
            &said(2),
        ],
    )?;
    send_refusals(&mut tx, log, &folded.refusals)?;
    tx.commit()?;
    Ok(())
}

fn send_refusals(
    tx: &mut Transaction<'_>,
    log: &str,
    refusals: &[RefusalRow],
) -> Result<(), HandInError> {
    let numbers = refusals
        .iter()
        .map(|row| number(row.number))
        .collect::<Result<Vec<i64>, HandInError>>()?;
    let integers = |of: &dyn Fn(&RefusalRow) -> Option<u16>| {
        let rows = refusals.iter();
        rows.map(|row| of(row).map(i32::from)).collect::<Vec<_>>()
    };
    // The server can't keep U+0000.
    let clean = |text: &str| text.replace('\0', "\u{fffd}");
    let texts = |of: &dyn Fn(&RefusalRow) -> Option<&str>| {
        let rows = refusals.iter();
        rows.map(|row| of(row).map(clean)).collect::<Vec<_>>()
    };
    tx.execute(
        "DELETE FROM bothhands.folded_refusals WHERE log = $1",
        &[&log],
    )?;
    tx.execute(
        "INSERT INTO bothhands.folded_refusals (log, number, board, circuit, step, said, why)
         SELECT $1, * FROM unnest($2::int8[], $3::int4[], $4::int4[], $5::text[], $6::text[],
           $7::text[])",
        &[
            &log,
            &numbers,
            &integers(&|row| row.board),
            &integers(&|row| row.circuit),
            &texts(&|row| row.step.as_deref()),
            &texts(&|row| Some(&row.said)),
            &texts(&|row| Some(&row.why)),
        ],
    )?;
    Ok(())
}

/// Sends the sound of events that were handed in without it before.
fn sounds_left_out_before(
    client: &mut Client,
    store: &Store,
    log: &str,
    known: &[Record],
    went_on: &dyn Fn(),
) -> Result<u64, HandInError> {
    if known.iter().all(|record| record.evidence.is_none()) {
        return Ok(0);
    }
    let missing: HashSet<String> = client
        .query(
            "SELECT DISTINCT v.hash
             FROM bothhands.events e JOIN bothhands.evidence v ON v.hash = e.evidence
             LEFT JOIN bothhands.sounds s USING (sound_hash)
             WHERE e.log = $1 AND s.sound_hash IS NULL",
            &[&log],
        )?
        .iter()
        .map(|row| row.try_get(0))
        .collect::<Result<_, _>>()?;
    let mut sent = 0;
    let mut pending = Batch::default();
    for hash in known.iter().filter_map(|record| record.evidence) {
        if missing.contains(&hash.to_string()) {
            pending.add_evidence(store, &hash, true)?;
        }
        if pending.is_full() {
            sent += std::mem::take(&mut pending).send(client, log)?;
            went_on();
        }
    }
    Ok(sent + pending.send(client, log)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_nul_makes_another_text_to_query() {
        assert_eq!(without_nul(r#"{"a":"b"}"#), None);
        let nul = r#"{"a\u0000":["x\u0000y"]}"#;
        assert_eq!(
            without_nul(nul).as_deref(),
            Some("{\"a\u{fffd}\":[\"x\u{fffd}y\"]}")
        );
        let no_nul = r#"{"a":"x\\u0000y"}"#;
        assert_eq!(without_nul(no_nul).as_deref(), Some(no_nul));
    }
}
