//! Published tables and worked values, row by row: `tests/tables/*.tsv` holds what is printed, its
//! source and how well it is known; each row is computed and compared to the last digit printed.

use bothhands::limits::rcd::{self, Multiple};
use bothhands::limits::ring::{self, Ends};
use bothhands::limits::{
    Acts, CableInsulation, CableMake, CableRun, CircuitFacts, CircuitUse, CpcIs, DeviceKind,
    Earthing, Metal, Overcurrent, Phases, RcdDelay, SystemVoltage, Tables, conductor, earth_loop,
    judge,
};
use bothhands::quantity::{
    Amps, Celsius, MegOhms, Metres, MilliAmps, Number, Ohms, Reading, SquareMillimetres, Volts,
    tidy,
};
use std::fs;

struct Row {
    place: String,
    check: String,
    inputs: String,
    printed: String,
    within: Option<f64>,
    mark: String,
}

fn rows() -> Vec<Row> {
    let mut files: Vec<_> = fs::read_dir("tests/tables")
        .unwrap()
        .map(|f| f.unwrap().path())
        .collect();
    files.sort();
    let mut rows = Vec::new();
    for file in files {
        let text = fs::read_to_string(&file).unwrap();
        for (i, line) in text
            .lines()
            .enumerate()
            .filter(|(_, l)| !l.starts_with('#'))
        {
            let place = format!("{}:{}", file.display(), i + 1);
            let cells: Vec<_> = line.split('\t').collect();
            let [check, inputs, printed, source, mark, rest @ ..] = cells.as_slice() else {
                panic!("{place}: a row has a check, inputs, value, source and mark");
            };
            assert!(!source.is_empty(), "{place}: no source");
            rows.push(Row {
                check: (*check).to_owned(),
                inputs: (*inputs).to_owned(),
                printed: (*printed).to_owned(),
                within: rest.first().map(|w| w.parse().unwrap()),
                mark: (*mark).to_owned(),
                place,
            });
        }
    }
    rows
}

#[test]
fn every_row_comes_out_to_its_last_printed_digit() {
    let rows = rows();
    for row in &rows {
        let marks = ["published", "common-practice", "memory", "by-hand"];
        assert!(marks.contains(&row.mark.as_str()), "{}: mark", row.place);
        let expected: f64 = row.printed.parse().unwrap();
        let decimals = row.printed.split_once('.').map_or(0, |(_, d)| d.len());
        let within = row.within.unwrap_or(0.5 * 10f64.powi(-(decimals as i32)));
        let computed = compute(&row.check, &row.inputs);
        assert!(
            (computed - expected).abs() <= within + 1e-9,
            "{}: {} of {} is {computed}, printed {}",
            row.place,
            row.check,
            row.inputs,
            row.printed
        );
    }
    assert!(rows.len() >= 380, "only {} rows", rows.len());
}

fn compute(check: &str, inputs: &str) -> f64 {
    let words: Vec<&str> = inputs.split_whitespace().collect();
    let n = |i: usize| words[i].parse::<f64>().unwrap();
    let tables = Tables::shipped();
    let size = SquareMillimetres::exact;
    let per_metre = |mm2, class| {
        conductor::per_metre(tables, size(mm2), class)
            .unwrap()
            .value()
            .unwrap()
    };
    match check {
        "per_metre" => per_metre(n(0), words[1].parse().unwrap()),
        "r1_r2_per_metre" => per_metre(n(0), 1) + per_metre(n(1), 1),
        "r1_r2" => {
            let each = |mm2| {
                let (length, t) = (Metres::exact(n(0)), Celsius::exact(n(3)));
                conductor::resistance(tables, size(mm2), 1, length, t).unwrap()
            };
            (each(n(1)) + each(n(2))).value().unwrap()
        }
        "bond" => {
            let (length, t) = (Metres::exact(n(0)), Celsius::exact(20.0));
            let ohms = conductor::resistance(tables, size(n(1)), 1, length, t);
            ohms.unwrap().value().unwrap()
        }
        "to_20" => conductor::cooled(tables, Ohms::exact(1.0), Celsius::exact(n(0))).middle(),
        "from_20" => conductor::warmed(tables, Ohms::exact(1.0), Celsius::exact(n(0))).middle(),
        "zs" if words.len() == 3 => maximum_zs(tables, words[0], n(1), n(2)),
        "zs" => maximum_zs(tables, words[0], n(1), 0.4),
        "zs_2008" => maximum_zs(&tables_2008(), words[0], n(1), 0.4),
        "zs_cold" => maximum_zs(tables, words[0], n(1), 0.4) * tables.loop_cold.factor,
        "zs_fuse" => {
            let parts: Vec<_> = inputs.split('|').collect();
            let kind = DeviceKind::ALL
                .into_iter()
                .find(|k| k.name() == parts[0])
                .unwrap();
            let device = overcurrent(kind, parts[1].parse().unwrap());
            let seconds = parts[2].parse().unwrap();
            let limit = earth_loop::maximum_zs(tables, &device, Volts::exact(230.0), seconds);
            let limit = limit.unwrap();
            assert!(!limit.stricter);
            limit.ohms.value().unwrap()
        }
        "zs_old_cold" => old_breaker(words[0], n(1)) * tables.loop_cold.factor,
        "zs_old_240" => old_breaker(words[0], n(1)) / 0.95 * 240.0 / 230.0,
        "zs_fuse_without_cmin" => compute("zs_fuse", inputs) / 0.95,
        "zs_setting" => {
            let short_time = (words.len() == 4).then(|| (n(2), n(3)));
            let acts = Acts::AtSetting {
                instantaneous: n(0),
                short_time,
            };
            limit_of(DeviceKind::MouldedCase, acts, n(1))
        }
        "zs_own_ia" => limit_of(DeviceKind::Other, Acts::FromAmps(n(0)), 0.4),
        "aluminium" => {
            let made = CableMake {
                metal: Metal::Aluminium,
                ..CableMake::default()
            };
            conductor::line_per_metre(tables, &run(n(0), 1.0, made))
                .unwrap()
                .middle()
        }
        "imperial_square_inches" => tables.cables.imperial_size(words[0]).unwrap() / 25.4 / 25.4,
        "imperial" => {
            let mm2 = tables.cables.imperial_size(words[0]).unwrap();
            conductor::line_per_metre(tables, &run(mm2, 1.0, CableMake::default()))
                .unwrap()
                .middle()
        }
        "armour" | "sheath" => {
            let cores = words.last().unwrap().parse().unwrap();
            let (cpc, mm2) = if check == "armour" {
                (CpcIs::Armour, tables.cables.armour_of(n(0), cores))
            } else {
                let heavy = words[0] == "heavy";
                (CpcIs::Sheath, tables.cables.sheath_of(n(1), cores, heavy))
            };
            let made = CableMake {
                cpc,
                ..CableMake::default()
            };
            conductor::cpc_per_metre(tables, &run(1.0, mm2.unwrap(), made))
                .unwrap()
                .middle()
        }
        "k_of" => {
            let made = CableMake {
                insulation: insulation(words[0]),
                metal: if words[1] == "aluminium" {
                    Metal::Aluminium
                } else {
                    Metal::Copper
                },
                cpc: match words[2] {
                    "core" => CpcIs::Core,
                    "separate" => CpcIs::Separate,
                    _ => CpcIs::Armour,
                },
            };
            tables.k_of_cpc(made).0
        }
        "hot_by_insulation" => {
            let made = CableMake {
                insulation: insulation(words[0]),
                ..CableMake::default()
            };
            let t = Celsius::exact(20.0);
            earth_loop::heating_factor(tables, t, made.running_celsius(tables)).0
        }
        "disconnect" => {
            let earthing = if words[0] == "TT" {
                Earthing::Tt
            } else {
                Earthing::TnS
            };
            let serves = match words[2] {
                "sockets" => CircuitUse::Sockets,
                "fixed" => CircuitUse::FixedEquipment,
                "lighting" => CircuitUse::Lighting,
                _ => CircuitUse::Distribution,
            };
            tables
                .disconnection_time(earthing, n(1), serves, n(3))
                .unwrap()
                .0
        }
        "rcd_zs" => earth_loop::rcd_maximum(tables, MilliAmps::exact(n(0))).middle(),
        "insulation" => {
            let row = tables.insulation_limit(match words[0] {
                "SELV" => SystemVoltage::Selv,
                "PELV" => SystemVoltage::Pelv,
                "FELV" => SystemVoltage::Felv,
                "LV" => SystemVoltage::Low,
                _ => SystemVoltage::Above500,
            });
            if words[1] == "volts" {
                row.test_volts.into()
            } else {
                row.megohms
            }
        }
        "parallel" => {
            let all = words.iter().map(|w| MegOhms::exact(w.parse().unwrap()));
            MegOhms::parallel(all).value().unwrap()
        }
        "rcd" => {
            let delay = if words[0] == "s" {
                RcdDelay::S
            } else {
                RcdDelay::General
            };
            let multiple = match words[1] {
                "once" => Multiple::Once,
                "twice" => Multiple::Twice,
                _ => Multiple::Five,
            };
            let time = rcd::break_time(tables, delay, multiple).unwrap();
            if words[2] == "most" {
                time.high()
            } else {
                time.low()
            }
        }
        "k" => k(tables, words[0]),
        "adiabatic" => earth_loop::least_cpc(Amps::exact(n(0)), n(1), k(tables, words[2])).middle(),
        "millivolts" => {
            let ohms = Ohms::exact(per_metre(n(0), 1) * 2.0 / 1000.0);
            let t = Celsius::exact(20.0);
            earth_loop::voltage_drop(tables, Amps::exact(1.0), ohms, t, 70.0).middle() * 1000.0
        }
        "drop_limit" => {
            let drop = &tables.voltage_drop;
            let percent = if words[0] == "lighting" {
                drop.lighting_percent
            } else {
                drop.other_percent
            };
            230.0 * percent / 100.0
        }
        "drop" => {
            let (amps, ohms, t) = (Amps::exact(n(0)), Ohms::exact(n(1)), Celsius::exact(n(2)));
            earth_loop::voltage_drop(tables, amps, ohms, t, 70.0).middle()
        }
        "fault_ka" => earth_loop::fault_current(Volts::exact(230.0), Ohms::exact(n(0))).middle(),
        "hot_zs" => {
            let (zs, ze) = (Ohms::exact(n(0)), Some(Ohms::exact(n(1))));
            earth_loop::running_zs(tables, zs, ze, Celsius::exact(n(2)), 70.0).middle()
        }
        "ring_ln" => ring::r1_rn(&ends(n(0), n(1), 1.0)).middle(),
        "ring_le" => ring::r1_r2(&ends(n(0), n(0), n(1))).middle(),
        "ring_ratio" => n(0) / n(1),
        "ring_at" => ring::crossed(n(0), n(1), n(2)),
        "ring_wrong" => ring::uncrossed(n(0), n(1), n(2)),
        other => panic!("no check is called {other}"),
    }
}

/// Every row of a fuse is what it says that it comes from: 0.95 × 230 V ÷ Ia, or 0.95 × the value of
/// an edition without Cmin, to what the table rounds to.
#[test]
fn every_fuse_row_is_the_arithmetic_beside_it() {
    let mut rows = 0;
    for fuse in &Tables::shipped().fuses {
        for row in &fuse.zs {
            let value = match (row.ia, row.older) {
                (Some(ia), None) => 0.95 * 230.0 / ia,
                (None, Some(older)) => 0.95 * older,
                _ => panic!("{} {} A: one of ia and older", fuse.kind, row.amps),
            };
            assert!(
                (value - row.ohms).abs() <= row.to / 2.0 + 1e-9,
                "{} {} A in {} s: {value}, not {}",
                fuse.kind,
                row.amps,
                fuse.seconds,
                row.ohms
            );
            rows += 1;
        }
    }
    assert_eq!(rows, 75);
}

/// A fuse takes more current to clear sooner: gate, then the 0.4 s row, then the 5 s row.
#[test]
fn a_fuse_takes_more_current_to_clear_sooner() {
    let tables = Tables::shipped();
    let at = |kind, amps: f64, seconds: f64| {
        let mut of = tables
            .fuses
            .iter()
            .filter(|f| f.kind == kind && f.seconds == seconds);
        let row = of.find_map(|f| f.zs.iter().find(|row| row.amps == amps));
        row.map(|row| tables.operating_current(row))
    };
    let mut compared = 0;
    for fuse in &tables.fuses {
        for row in &fuse.zs {
            let gate = tables.fuse_gate(fuse.kind, row.amps);
            let steps = [
                gate,
                at(fuse.kind, row.amps, 0.4),
                at(fuse.kind, row.amps, 5.0),
            ];
            let steps: Vec<f64> = steps.into_iter().flatten().collect();
            assert!(
                steps.windows(2).all(|w| w[0] > w[1]),
                "{} {}: {steps:?}",
                fuse.kind,
                row.amps
            );
            assert!(steps.iter().all(|amps| *amps > row.amps));
            compared += steps.len() - 1;
        }
    }
    assert!(compared > 40, "{compared}");
}

fn ends(r1: f64, rn: f64, r2: f64) -> Ends {
    Ends {
        line: Ohms::exact(r1),
        neutral: Ohms::exact(rn),
        cpc: Ohms::exact(r2),
    }
}

fn k(tables: &Tables, how: &str) -> f64 {
    match how {
        "core" => tables.adiabatic.k_core,
        _ => tables.adiabatic.k_separate,
    }
}

fn insulation(word: &str) -> CableInsulation {
    match word {
        "pvc" => CableInsulation::Pvc,
        "xlpe" => CableInsulation::Xlpe,
        "mineral-covered" => CableInsulation::MineralCovered,
        "mineral-bare" => CableInsulation::MineralBare,
        other => panic!("{other}"),
    }
}

fn run(line: f64, cpc: f64, made: CableMake) -> CableRun {
    CableRun {
        line: SquareMillimetres::exact(line),
        cpc: SquareMillimetres::exact(cpc),
        length: None,
        class: 1,
        made,
    }
}

fn old_breaker(letter: &str, amps: f64) -> f64 {
    let name = format!("BS 3871 {letter}");
    let mut kinds = DeviceKind::ALL.into_iter();
    let kind = kinds.find(|kind| kind.name() == name).unwrap();
    limit(overcurrent(kind, amps), 0.4)
}

fn limit_of(kind: DeviceKind, acts: Acts, seconds: f64) -> f64 {
    let device = Overcurrent {
        acts: Some(acts),
        ..overcurrent(kind, 100.0)
    };
    limit(device, seconds)
}

fn limit(device: Overcurrent, seconds: f64) -> f64 {
    let tables = Tables::shipped();
    let limit = earth_loop::maximum_zs(tables, &device, Volts::exact(230.0), seconds);
    limit.unwrap().ohms.value().unwrap()
}

fn overcurrent(kind: DeviceKind, amps: f64) -> Overcurrent {
    Overcurrent {
        kind,
        amps: Amps::exact(amps),
        breaking: None,
        acts: None,
    }
}

fn maximum_zs(tables: &Tables, letter: &str, amps: f64, seconds: f64) -> f64 {
    let kind = match letter {
        "B" => DeviceKind::BreakerB,
        "C" => DeviceKind::BreakerC,
        _ => DeviceKind::BreakerD,
    };
    let device = overcurrent(kind, amps);
    let limit = earth_loop::maximum_zs(tables, &device, Volts::exact(230.0), seconds);
    limit.unwrap().ohms.value().unwrap()
}

/// The edition of 2008 as an edited copy: no Cmin. Unrounded, since 230 ÷ 80 = 2.875 is a tie that
/// its table prints as 2.87.
fn tables_2008() -> Tables {
    let text = Tables::shipped_text()
        .replace("BS 7671:2018+A2:2022", "BS 7671:2008")
        .replace("cmin = 0.95", "cmin = 1.0")
        .replace("places = 2", "places = 6");
    Tables::parse(&text, "2008.toml").unwrap()
}

// ---- The sums in a verdict are the sums that were done ----

/// A calculator for the sums in verdicts: numbers, + - × ÷, brackets, ² and √(). Units are
/// dropped.
mod calculator {
    pub fn value(text: &str) -> Option<f64> {
        let plain: String = text
            .replace("mΩ/m", "×0.001")
            .replace("mm²", "")
            .replace("kA", "")
            .chars()
            .filter(|c| c.is_ascii_digit() || "+-×÷().²√".contains(*c))
            .collect();
        let chars: Vec<char> = plain.chars().collect();
        let mut at = 0;
        let value = sum(&chars, &mut at)?;
        (at == chars.len()).then_some(value)
    }

    fn sum(c: &[char], at: &mut usize) -> Option<f64> {
        let mut value = product(c, at)?;
        while let Some(op) = c.get(*at).filter(|o| "+-".contains(**o)) {
            *at += 1;
            let next = product(c, at)?;
            value = if *op == '+' {
                value + next
            } else {
                value - next
            };
        }
        Some(value)
    }

    fn product(c: &[char], at: &mut usize) -> Option<f64> {
        let mut value = factor(c, at)?;
        while let Some(op) = c.get(*at).filter(|o| "×÷".contains(**o)) {
            *at += 1;
            let next = factor(c, at)?;
            value = if *op == '×' {
                value * next
            } else {
                value / next
            };
        }
        Some(value)
    }

    fn factor(c: &[char], at: &mut usize) -> Option<f64> {
        let root = c.get(*at) == Some(&'√');
        *at += usize::from(root);
        let mut value = if c.get(*at) == Some(&'(') {
            *at += 1;
            let inner = sum(c, at)?;
            *at += 1;
            inner
        } else {
            let from = *at;
            while c.get(*at).is_some_and(|d| d.is_ascii_digit() || *d == '.') {
                *at += 1;
            }
            c[from..*at].iter().collect::<String>().parse().ok()?
        };
        if c.get(*at) == Some(&'²') {
            *at += 1;
            value *= value;
        }
        Some(if root { value.sqrt() } else { value })
    }

    #[test]
    fn it_calculates() {
        assert_eq!(value("0.95 × 230 V ÷ (5 × 32 A)"), Some(1.365625));
        assert_eq!(value("√(200² × 4 s) ÷ 100"), Some(4.0));
        assert_eq!(value("hot"), None);
    }
}

/// Every "sum = result" in a line, worked out again; how many there were.
fn recompute(line: &str) -> usize {
    let mut sums = 0;
    for part in line.split([';', ':', ',']) {
        let Some((left, right)) = part.rsplit_once(" = ") else {
            continue;
        };
        let left = left.rsplit(" = ").next().unwrap();
        // Words such as "Zs" or "hot" before the sum, and temperatures inside it, are no numbers.
        let left = left
            .replace("for 15 °C", "")
            .replace("(R1+R2) ", "")
            .replace("√", " √")
            .trim_start_matches(|c: char| !c.is_ascii_digit() && c != '(' && c != '√')
            .to_owned();
        let Some(done) = calculator::value(&left) else {
            panic!("cannot work out `{left}` in `{line}`");
        };
        let printed: String = right
            .chars()
            .take_while(|c| c.is_ascii_digit() || *c == '.')
            .collect();
        let printed: f64 = printed
            .parse()
            .unwrap_or_else(|_| panic!("`{right}` in `{line}`"));
        assert!(
            (done - printed).abs() <= 0.006_f64.max(printed * 0.002),
            "{left} is {done}, not {printed}, in `{line}`"
        );
        sums += 1;
    }
    sums
}

fn read(text: &str) -> Reading {
    Reading::exact(text.parse::<Number>().unwrap())
}

fn facts() -> CircuitFacts {
    CircuitFacts {
        earthing: Earthing::TnCS,
        u0: Volts::exact(230.0),
        phases: Phases::Single,
        supply_phases: Phases::Single,
        serves: CircuitUse::Sockets,
        ring: false,
        system: SystemVoltage::Low,
        device: Some(overcurrent(DeviceKind::BreakerB, 32.0)),
        device_source: None,
        rcd: None,
        cable: Some(bothhands::limits::CableRun {
            line: size(2.5),
            cpc: size(1.5),
            length: Some(Metres::exact(23.0)),
            class: 1,
            made: bothhands::limits::CableMake::default(),
        }),
        ze: Some(Ohms::exact(0.21)),
        temperature: Some(Celsius::exact(15.0)),
        insulation_range: Some(999.0),
    }
}

fn size(mm2: f64) -> SquareMillimetres {
    SquareMillimetres::exact(mm2)
}

#[test]
fn the_sums_of_every_verdict_come_out_the_same_by_hand() {
    let tables = Tables::shipped();
    let facts = facts();
    let mut sums = 0;
    for ohms in ["0.05", "0.20", "0.44", "0.67", "0.90", "1.20", "4.40"] {
        let reading = read(ohms);
        let r1_r2 = read("0.44");
        let beside = judge::LoopContext {
            ze: None,
            r1_r2: Some(&r1_r2),
        };
        for verdict in [
            Some(judge::r1_r2(
                tables,
                &facts,
                judge::TakenAt::Furthest,
                &reading,
            )),
            Some(judge::r2(
                tables,
                &facts,
                judge::TakenAt::Furthest,
                &reading,
            )),
            Some(judge::zs(tables, &facts, &reading, beside)),
            judge::cpc_size(tables, &facts, &reading),
            judge::voltage_drop(tables, &facts, &reading, None),
        ] {
            let verdict = verdict.unwrap();
            let found = recompute(&verdict.arithmetic);
            assert!(found > 0, "no sum in `{}`", verdict.arithmetic);
            sums += found;
        }
    }
    assert!(sums > 70, "{sums}");
    println!("{sums} sums worked out again");
    assert_eq!(tidy(1.3656), "1.366");
}
