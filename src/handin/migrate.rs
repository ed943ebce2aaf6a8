use super::error::HandInError;
use postgres::Client;

/// Version of the tables on the server that this program makes and fills.
pub const SCHEMA_VERSION: i32 = 6;

const SCHEMA: &str = include_str!("schema.sql");

/// Makes the tables and views on the server, or brings older ones up to date.
///
/// # Errors
/// When the server refuses, the database is not in UTF-8, or a newer program made its tables.
pub fn prepare(client: &mut Client) -> Result<(), HandInError> {
    let encoding: String = client.query_one("SHOW server_encoding", &[])?.try_get(0)?;
    if encoding != "UTF8" {
        return Err(HandInError::NotUtf8(encoding));
    }
    if version(client)? == SCHEMA_VERSION {
        return Ok(());
    }
    let mut tx = client.transaction()?;
    // One at a time: another program may be making them just now.
    tx.execute(
        "SELECT pg_advisory_xact_lock(hashtextextended('bothhands', 0))",
        &[],
    )?;
    let there = version(&mut tx)?;
    if there > SCHEMA_VERSION {
        return Err(HandInError::Newer(there));
    }
    for part in parts().into_iter().filter(|part| part.version > there) {
        tx.batch_execute(part.sql)?;
    }
    tx.commit()?;
    Ok(())
}

fn version(client: &mut impl postgres::GenericClient) -> Result<i32, HandInError> {
    // From the catalogue itself: to_regclass may remember that there was none a moment ago.
    let there: bool = client
        .query_one(
            "SELECT EXISTS (
               SELECT FROM pg_catalog.pg_class c
               JOIN pg_catalog.pg_namespace n ON n.oid = c.relnamespace
               WHERE n.nspname = 'bothhands' AND c.relname = 'version')",
            &[],
        )?
        .try_get(0)?;
    if !there {
        return Ok(0);
    }
    let row = client.query_one("SELECT max(version) FROM bothhands.version", &[])?;
    Ok(row.try_get::<_, Option<i32>>(0)?.unwrap_or(0))
}

struct Part {
    version: i32,
    sql: &'static str,
}

/// The parts of the file, each beginning at a line `-- == version N`.
fn parts() -> Vec<Part> {
    SCHEMA
        .split("-- == version ")
        .skip(1)
        .filter_map(|part| {
            let (version, sql) = part.split_once('\n')?;
            Some(Part {
                version: version.trim().parse().ok()?,
                sql,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_parts_are_numbered_and_end_with_this_version() {
        let versions: Vec<i32> = parts().iter().map(|part| part.version).collect();
        let expected: Vec<i32> = (1..=SCHEMA_VERSION).collect();
        assert_eq!(versions, expected);
        assert_eq!(SCHEMA.matches("-- == version ").count(), expected.len());
    }
}
