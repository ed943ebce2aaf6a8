use super::schedule::Schedule;

/// The schedule as JSON, indented, for other programs. Bounds stay text: `">999"`.
pub fn json(schedule: &Schedule) -> String {
    // Every field has a JSON form: strings, numbers that are finite, lists.
    serde_json::to_string_pretty(schedule).unwrap_or_default()
}

/// The same of a merged log: one schedule as it is, several as a list.
pub fn json_of_threads(schedules: &[Schedule]) -> String {
    match schedules {
        [only] => json(only),
        several => serde_json::to_string_pretty(several).unwrap_or_default(),
    }
}
