use super::error::StoreError;
use rusqlite::Connection;
use rusqlite_migration::{M, Migrations};
use std::{path::Path, sync::OnceLock};

/// The text "BOTH" as SQLite's `application_id`.
pub(super) const APPLICATION_ID: i64 = 0x424f_5448;

/// Every step from an empty database to the present schema. Never change one that was published:
/// add another.
const STEPS: &[M<'_>] = &[M::up(include_str!("schema.sql"))];

/// Number of the present schema: SQLite's `user_version`.
pub(super) const VERSION: i64 = STEPS.len() as i64;

/// Brings a database to the present schema in one transaction.
pub(super) fn migrate(path: &Path, connection: &mut Connection) -> Result<(), StoreError> {
    Migrations::from_slice(STEPS)
        .to_latest(connection)
        .map_err(|why| match why {
            rusqlite_migration::Error::RusqliteError { err, .. } => {
                StoreError::from_sqlite(path, err)
            }
            other => StoreError::Damaged {
                path: path.to_owned(),
                why: format!("its tables cannot be brought up to date: {other}"),
            },
        })
}

/// What tables, indexes and triggers there are, as SQLite keeps their text.
pub(super) fn described(connection: &Connection) -> rusqlite::Result<Vec<(String, String)>> {
    connection
        .prepare(
            "SELECT type || ' ' || name, coalesce(sql, tbl_name) FROM sqlite_schema ORDER BY 1, 2",
        )?
        .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
        .collect()
}

/// What [`described`] must give for a log of the present version.
pub(super) fn expected() -> Result<&'static [(String, String)], StoreError> {
    static EXPECTED: OnceLock<Vec<(String, String)>> = OnceLock::new();
    if let Some(expected) = EXPECTED.get() {
        return Ok(expected);
    }
    let path = Path::new(":memory:");
    let failed = |why| StoreError::from_sqlite(path, why);
    let mut connection = Connection::open_in_memory().map_err(failed)?;
    migrate(path, &mut connection)?;
    let expected = described(&connection).map_err(failed)?;
    Ok(EXPECTED.get_or_init(|| expected))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_migrations_are_sound() {
        Migrations::from_slice(STEPS).validate().unwrap();
    }
}
