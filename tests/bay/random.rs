//! Jobs drawn at random, as job files.

use bothhands::installation::Job;
use fastrand::Rng;
use std::fmt::Write;

/// A job of one or two boards and a handful of circuits.
pub fn job(seed: u64) -> Job {
    let mut rng = Rng::with_seed(seed);
    super::read(&text(&mut rng))
}

/// The same with a residual current device over its first two circuits, and one over the whole first board.
pub fn with_groups(seed: u64) -> Job {
    let mut rng = Rng::with_seed(seed);
    let groups = "[[board.rcd]]\nnumber = 1\ncircuits = [1, 2]\nmilliamps = 30\n\
                  [[board.rcd]]\nnumber = 2\nmilliamps = 100\ndelay = \"s\"\n[[board.circuit]]";
    super::read(&text(&mut rng).replacen("[[board.circuit]]", groups, 1))
}

fn one<'a>(rng: &mut Rng, of: &[&'a str]) -> &'a str {
    of[rng.usize(..of.len())]
}

fn text(rng: &mut Rng) -> String {
    let kind = one(rng, &["initial-verification", "periodic-inspection"]);
    let earthing = one(rng, &["TN-S", "TN-C-S", "TN-C-S", "TT"]);
    let phases = if rng.u8(..4) == 0 { 3 } else { 1 };
    let celsius = rng.u8(5..30);
    let mut text = format!(
        "title = \"Boathouse\"\nkind = \"{kind}\"\ntester = \"A. Learner\"\nsupervisor = \"B. Instructor\"\n\
         [site]\nname = \"Rowing club boathouse\"\nambient_celsius = {celsius}.0\n\
         [supply]\nearthing = \"{earthing}\"\nphases = {phases}\nbonds = [\"water\", \"gas\"]\n"
    );
    if rng.bool() && earthing != "TT" {
        let _ = writeln!(text, "ze_ohms = \"0.{}\"", rng.u8(15..60));
    }
    if rng.u8(..4) == 0 {
        text += "sources = [\"mains\", \"solar\"]\n";
    }
    text += "[[instrument]]\nname = \"installation tester\"\nserial = \"IT-1\"\ncalibration_due = 2030-01-31\n\
             used_for = [\"continuity\", \"insulation\", \"loop\", \"rcd\"]\ninsulation_range_megohms = \"999\"\n";
    let _ = writeln!(
        text,
        "[[board]]\nnumber = 1\nname = \"board one\"\nphases = {phases}"
    );
    let circuits = rng.u16(2..6);
    for number in 1..=circuits {
        circuit(rng, &mut text, number, phases == 3);
    }
    if rng.u8(..4) == 0 {
        let number = circuits + 1;
        let _ = writeln!(
            text,
            "[[board.circuit]]\nnumber = {number}\nname = \"outhouse\"\nkind = \"distribution\"\n\
             device = \"B40\"\ncable = \"10/10 {} m\"\n\
             [[board]]\nnumber = 2\nname = \"board two\"\nphases = 1\nfed_from = \"board 1, circuit {number}\"",
            rng.u8(8..30)
        );
        for number in 1..=rng.u16(1..3) {
            circuit(rng, &mut text, number, false);
        }
    }
    text
}

fn circuit(rng: &mut Rng, text: &mut String, number: u16, three: bool) {
    let kinds = [
        "ring",
        "ring",
        "radial",
        "radial",
        "lighting",
        "single-point",
        "motor",
    ];
    let kind = one(rng, &kinds);
    let (device, cable, metres) = match kind {
        "ring" => ("B32", "2.5/1.5", rng.u8(25..80)),
        "lighting" => ("B6", "1.5/1", rng.u8(10..35)),
        "single-point" => ("B32", "6/2.5", rng.u8(5..20)),
        "motor" => ("C16", "4/4", rng.u8(10..40)),
        _ => ("B20", "2.5/1.5", rng.u8(10..40)),
    };
    // Some of them larger, so that reactance counts; some with electronics and an earth of their own.
    let (device, cable) = match (kind, metres % 3, number % 3) {
        ("single-point", 0, _) => ("B63", "25/16"),
        ("motor", 0, _) => ("C63", "25/25"),
        ("motor", 1, _) => ("C125", "70/35"),
        ("radial", _, 0) => ("B20 RCBO 30 mA", cable),
        _ => (device, cable),
    };
    let _ = writeln!(
        text,
        "[[board.circuit]]\nnumber = {number}\nname = \"{kind} {number}\"\nkind = \"{kind}\"\ndevice = \"{device}\""
    );
    if kind == "motor" && three && rng.bool() {
        *text += "phases = 3\n";
    }
    if rng.u8(..4) > 0 {
        let _ = writeln!(text, "cable = \"{cable} {metres} m\"");
    }
    if rng.bool() {
        let rating = one(rng, &["30", "30", "100"]);
        if !device.contains("RCBO") {
            let _ = writeln!(text, "rcd = {rating}");
        }
    }
    if kind == "lighting" && rng.bool() {
        *text += "two_way = true\n";
    }
    let points = match kind {
        "ring" => rng.u16(3..8),
        "radial" | "lighting" => rng.u16(1..5),
        _ => rng.u16(0..2),
    };
    let branching = rng.u8(..3) == 0;
    for point in 1..=points {
        let _ = writeln!(
            text,
            "[[board.circuit.point]]\nname = \"point\"\nnumber = {point}"
        );
        if kind == "ring" && point > 1 && rng.u8(..6) == 0 {
            *text += "spur = true\n";
        } else if kind == "ring" || (point < points && (!branching || rng.bool())) {
            *text += "feeds_on = true\n";
        }
        if rng.u8(..8) == 0 {
            let what = one(
                rng,
                &[
                    "USB charging outlet",
                    "neon indicator",
                    "surge protection",
                    "door entry",
                ],
            );
            let _ = writeln!(text, "sensitive = \"{what}\"");
        }
    }
}
