use super::{Desk, ran};
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::time::{Duration, Instant};

#[test]
fn with_no_file_named_page_paper_table_and_customers_page_stand_beside_the_log_and_are_named_after_it()
 {
    let desk = Desk::with_a_session();
    fs::copy(desk.path("session.db"), desk.path("other.db")).unwrap();
    let said = desk.run(&["schedule", "session.db"]).well().text();
    let written = [
        "session-customer.pdf",
        "session-schedule.csv",
        "session-schedule.html",
        "session-schedule.pdf",
    ];
    for name in written {
        assert!(said.contains(&format!("wrote {name}")), "{said}");
    }
    let before = fs::read(desk.path("session-schedule.html")).unwrap();
    // Another log in the folder has its own.
    desk.run(&["schedule", "other.db", "--zone", "Asia/Tokyo"])
        .well();
    assert_eq!(
        fs::read(desk.path("session-schedule.html")).unwrap(),
        before
    );
    let mut all: Vec<String> = desk.files(".");
    all.retain(|name| name.starts_with("session-") || name.starts_with("other-"));
    assert_eq!(all.len(), 8, "{all:?}");
}

#[test]
fn a_folder_of_its_own_has_plain_names() {
    let desk = Desk::with_a_session();
    desk.run(&["schedule", "session.db", "--out", "results"])
        .well();
    assert_eq!(
        desk.files("results"),
        [
            "customer.pdf",
            "schedule.csv",
            "schedule.html",
            "schedule.pdf"
        ]
    );
}

#[test]
fn a_dash_is_standard_output_and_nothing_else_is_said_there() {
    let desk = Desk::with_a_session();
    let csv = desk.run(&["schedule", "session.db", "--csv", "-"]).well();
    assert!(csv.text().starts_with('\u{feff}') && csv.text().ends_with("\r\n"));
    let pdf = desk.run(&["schedule", "session.db", "--pdf", "-"]).well();
    assert!(pdf.out.starts_with(b"%PDF-"));
    let json = desk
        .run(&["schedule", "session.db", "--json", "-", "--html", "a.html"])
        .well();
    let read: serde_json::Value = serde_json::from_slice(&json.out).unwrap();
    assert_eq!(read["site"], "Rowing club boathouse");
    assert!(json.err.contains("wrote a.html"), "{}", json.err);
    let page = desk
        .run(&["schedule", "session.db", "--customer", "-"])
        .well();
    assert!(page.text().starts_with("<!DOCTYPE html>"));
    assert!(desk.files(".").iter().all(|name| name != "-"));
    desk.run(&["schedule", "session.db", "--csv", "-", "--json", "-"])
        .refused("two things can't be written to one place");
}

#[test]
fn times_are_those_of_the_place() {
    let desk = Desk::with_a_session();
    let page = |args: &[&str]| {
        let args = [&["schedule", "session.db", "--html", "-"], args].concat();
        desk.run(&args).well().text()
    };
    let here = page(&[]);
    assert!(here.contains("25 November 2026, 09:30 GMT") && here.contains("Europe/London"));
    let there = page(&["--zone", "Asia/Tokyo"]);
    assert!(there.contains("25 November 2026, 18:30 JST") && there.contains("Asia/Tokyo"));
    let mut utc = desk.command(&["schedule", "session.db", "--html", "-"]);
    let utc = ran(utc.env("TZ", "Etc/UTC")).well().text();
    assert!(utc.contains("Times in UTC.") && !utc.contains("Etc/"));
}

#[test]
fn what_is_no_logo_is_refused_and_nothing_is_written() {
    let desk = Desk::with_a_session();
    fs::write(desk.path("logo.png"), "not a picture").unwrap();
    for (logo, why) in [
        ("logo.png", "neither a PNG nor an SVG"),
        ("none.png", "none.png: this is no logo"),
    ] {
        desk.run(&["schedule", "session.db", "--logo", logo])
            .refused(why);
    }
    assert!(!desk.path("session-schedule.html").exists());
}

/// What opens files on this machine is stood in for by a program that notes what it was given.
#[test]
fn the_page_that_was_written_is_opened_with_what_the_machine_opens_pages_with() {
    let desk = Desk::with_a_session();
    let tools = desk.path("tools");
    fs::create_dir(&tools).unwrap();
    let opener = tools.join("xdg-open");
    fs::write(
        &opener,
        "#!/bin/sh\nprintf '%s' \"$1\" >\"$NOTED.part\"\nmv \"$NOTED.part\" \"$NOTED\"\n",
    )
    .unwrap();
    fs::set_permissions(&opener, fs::Permissions::from_mode(0o755)).unwrap();
    let noted = desk.path("noted");
    let path = format!("{}:/usr/bin:/bin", tools.display());
    let mut command = desk.command(&["schedule", "session.db", "--html", "a page.html", "--open"]);
    ran(command.env("PATH", path).env("NOTED", &noted)).well();
    let until = Instant::now() + Duration::from_secs(20);
    while !noted.exists() && Instant::now() < until {
        std::thread::sleep(Duration::from_millis(20));
    }
    let page = fs::canonicalize(desk.path("a page.html")).unwrap();
    assert_eq!(fs::read_to_string(&noted).unwrap(), page.to_str().unwrap());
    // Where nothing opens it, that is said, and the page is there.
    let mut command = desk.command(&["schedule", "session.db", "--html", "b.html", "--open"]);
    ran(command.env("PATH", desk.path("none"))).refused("open it by hand");
    assert!(desk.path("b.html").exists());
    desk.run(&["schedule", "session.db", "--json", "-", "--open"])
        .refused("there is no page to open");
}

#[test]
fn a_job_or_anything_else_that_is_there_is_not_written_over() {
    let desk = Desk::with_a_session();
    let job = include_str!("../jobs/boathouse.toml");
    for name in ["job.toml", "job.html"] {
        fs::write(desk.path(name), job).unwrap();
    }
    fs::write(desk.path("letter.txt"), "Dear club,").unwrap();
    for args in [
        ["schedule", "session.db", "--html", "job.toml"],
        ["schedule", "session.db", "--html", "job.html"],
        ["labels", "session.db", "--pdf", "letter.txt"],
        ["pack", "session.db", "-o", "letter.txt"],
    ] {
        desk.run(&args).refused("not written over");
    }
    assert_eq!(fs::read_to_string(desk.path("job.toml")).unwrap(), job);
    assert_eq!(
        fs::read_to_string(desk.path("letter.txt")).unwrap(),
        "Dear club,"
    );
    // What is made anew is.
    let page = ["schedule", "session.db", "--html", "page.html"];
    desk.run(&page).well();
    desk.run(&page).well();
}
