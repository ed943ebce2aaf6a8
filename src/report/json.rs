use super::schedule::Schedule;

/// The schedule as JSON, indented, for other programs. Bounds stay text: `">999"`.
pub fn json(schedule: &Schedule) -> String {
    // Every field has a JSON form: strings, numbers that are finite, lists.
    serde_json::to_string_pretty(schedule).unwrap_or_default()
}
