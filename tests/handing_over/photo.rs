//! A photo of what was observed: in the log, on the pages and in the archive.

use super::Desk;
use crate::looking_back::reports::poppler;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use std::fs::{self, File};
use std::io::Read;
use zip::ZipArchive;

/// Sixteen by eight points, light and dark, as a browser writes them; in base64.
const JPEG: &str = "/9j/4AAQSkZJRgABAQAAAQABAAD/4gHYSUNDX1BST0ZJTEUAAQEAAAHIAAAAAAQwAABtbnRyUkdCIFhZWiAH4AABAAEAAAAAAABh\
    Y3NwAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAQAA9tYAAQAAAADTLQAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA\
    AAAAAAAAAAAAAAAAAAAAAAAAAAlkZXNjAAAA8AAAACRyWFlaAAABFAAAABRnWFlaAAABKAAAABRiWFlaAAABPAAAABR3dHB0AAAB\
    UAAAABRyVFJDAAABZAAAAChnVFJDAAABZAAAAChiVFJDAAABZAAAAChjcHJ0AAABjAAAADxtbHVjAAAAAAAAAAEAAAAMZW5VUwAA\
    AAgAAAAcAHMAUgBHAEJYWVogAAAAAAAAb6IAADj1AAADkFhZWiAAAAAAAABimQAAt4UAABjaWFlaIAAAAAAAACSgAAAPhAAAts9Y\
    WVogAAAAAAAA9tYAAQAAAADTLXBhcmEAAAAAAAQAAAACZmYAAPKnAAANWQAAE9AAAApbAAAAAAAAAABtbHVjAAAAAAAAAAEAAAAM\
    ZW5VUwAAACAAAAAcAEcAbwBvAGcAbABlACAASQBuAGMALgAgADIAMAAxADb/2wBDAFA3PEY8MlBGQUZaVVBfeMiCeG5uePWvuZHI\
    ////////////////////////////////////////////////////2wBDAVVaWnhpeOuCguv/////////////////////////////\
    ////////////////////////////////////////////wAARCAAIABADASIAAhEBAxEB/8QAFgABAQEAAAAAAAAAAAAAAAAAAAME\
    /8QAFBABAAAAAAAAAAAAAAAAAAAAAP/EABQBAQAAAAAAAAAAAAAAAAAAAAD/xAAUEQEAAAAAAAAAAAAAAAAAAAAA/9oADAMBAAIR\
    AxEAPwCzKAP/2Q==";
/// Six by four red ones.
const PNG: &str = "iVBORw0KGgoAAAANSUhEUgAAAAYAAAAECAYAAACtBE5DAAAAIUlEQVR4AZTJMQ0AABDCwAb/St7kYwAGmnQ6HXxalHYwAAAA///5\
    QKudAAAABklEQVQDAGcdCf/4rcAzAAAAAElFTkSuQmCC";

fn bytes(text: &str) -> Vec<u8> {
    STANDARD.decode(text).unwrap()
}

/// Two observations, and the two pictures in files.
fn desk() -> Desk {
    let desk = Desk::typed(
        "observation code two: no lid on the box behind the bar\n\
         observation code three: no label at the board\n",
    );
    fs::write(desk.path("lid.jpg"), bytes(JPEG)).unwrap();
    fs::write(desk.path("label.png"), bytes(PNG)).unwrap();
    desk
}

#[test]
fn a_photo_stands_in_the_log_on_the_pages_and_in_the_archive() {
    let desk = desk();
    let said = desk
        .run(&["photo", "session.db", "lid.jpg", "--observation", "1"])
        .well();
    assert!(
        said.text().contains("Added: JPEG, 16 × 8, "),
        "{}",
        said.text()
    );
    desk.run(&["photo", "session.db", "label.png", "--observation", "2"])
        .well();
    desk.run(&["verify", "session.db"]).well();
    let told = desk.run(&["log", "session.db"]).well().text();
    assert!(
        told.contains("photo added at the desk to #") && told.contains("JPEG, 16 × 8"),
        "{told}"
    );

    let page = desk
        .run(&["schedule", "session.db", "--html", "-"])
        .well()
        .text();
    for (kind, file) in [("jpeg", JPEG), ("png", PNG)] {
        assert!(
            page.contains(&format!("src=\"data:image/{kind};base64,{file}\"")),
            "{kind}"
        );
    }
    assert!(page.contains("alt=\"photo of observation 1: no lid on the box behind the bar\""));
    assert!(page.contains("img-src data:"));
    let pdf = desk
        .run(&["schedule", "session.db", "--pdf", "-"])
        .well()
        .out;
    let text = poppler("pdftotext", &["-layout"], &pdf);
    assert!(
        text.contains("Observation 1, C2: no lid on the box behind the bar"),
        "{text}"
    );
    // Both are drawn.
    let images = poppler("pdfimages", &["-list"], &pdf);
    assert!(
        images.contains("16     8") && images.contains(" 6     4"),
        "{images}"
    );
    let aloud = poppler("pdfinfo", &["-struct-text"], &pdf);
    assert!(aloud.contains("Figure"), "{aloud}");

    desk.run(&["pack", "session.db"]).well();
    let mut archive =
        ZipArchive::new(File::open(desk.path("session-results.zip")).unwrap()).unwrap();
    for (name, file) in [
        ("photos/observation-1-1.jpg", JPEG),
        ("photos/observation-2-1.png", PNG),
    ] {
        let mut kept = Vec::new();
        archive
            .by_name(name)
            .unwrap()
            .read_to_end(&mut kept)
            .unwrap();
        assert_eq!(kept, bytes(file), "{name}");
    }

    // The log goes on being one: exported and taken in again it holds both.
    desk.run(&["export", "session.db", "--output", "lines.jsonl"])
        .well();
    desk.run(&["import", "lines.jsonl", "--db", "again.db"])
        .well();
    let again = desk
        .run(&["schedule", "again.db", "--html", "-"])
        .well()
        .text();
    assert_eq!(again.matches("<img").count(), 2);
}

#[test]
fn what_is_no_photo_or_belongs_to_nothing_is_refused_and_nothing_is_lost() {
    let desk = desk();
    let before = desk.run(&["verify", "session.db"]).well().text();
    fs::write(desk.path("text.jpg"), "no picture").unwrap();
    fs::write(desk.path("cut.jpg"), &bytes(JPEG)[..60]).unwrap();
    fs::write(desk.path("cut.png"), &bytes(PNG)[..40]).unwrap();
    let mut large = bytes(JPEG);
    large.resize(4_000_001, 0);
    fs::write(desk.path("large.jpg"), large).unwrap();
    for (file, of, why) in [
        ("text.jpg", "1", "neither a JPEG nor a PNG"),
        ("cut.jpg", "1", "not whole"),
        ("cut.png", "1", "not whole"),
        ("large.jpg", "1", "at most 4000000"),
        ("none.jpg", "1", "check the path"),
        ("lid.jpg", "3", "numbered 1 to 2"),
        ("lid.jpg", "0", "numbered 1 to 2"),
    ] {
        desk.run(&["photo", "session.db", file, "--observation", of])
            .refused(why);
    }
    let at = |item| desk.run(&["photo", "session.db", "lid.jpg", "--item", item]);
    at("4.3").refused("nothing was observed at item 4.3");
    at("lid").refused("write it as in 4.3");
    desk.run(&["photo", "session.db", "lid.jpg"])
        .refused("--observation");
    assert_eq!(desk.run(&["verify", "session.db"]).well().text(), before);
    let none = Desk::typed("done\n");
    fs::write(none.path("lid.jpg"), bytes(JPEG)).unwrap();
    none.run(&["photo", "session.db", "lid.jpg", "--observation", "1"])
        .refused("nothing was observed");
}
