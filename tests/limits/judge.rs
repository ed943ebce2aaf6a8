//! What a session is told of each kind of reading.

use bothhands::limits::insulation::Pattern;
use bothhands::limits::judge::{self, LoopContext, Multiple, TakenAt};
use bothhands::limits::ring::{CrossedPair, Leg, PointReading};
use bothhands::limits::{
    CableRun, CircuitFacts, CircuitUse, DeviceKind, Earthing, Finding, Outcome, Overcurrent,
    Phases, RcdDelay, Residual, SystemVoltage, Tables, Verdict, conductor, earth_loop, insulation,
};
use bothhands::quantity::{
    Amps, Celsius, KiloAmps, MegOhms, Metres, MilliAmps, Number, Ohms, Pair, Reading, Relation,
    SquareMillimetres, Unit, Volts,
};
use proptest::prelude::*;

fn tables() -> &'static Tables {
    Tables::shipped()
}

/// "0.34", ">999", "<0.01", "over".
fn read(text: &str) -> Reading {
    let number = |t: &str| Reading::exact(t.parse::<Number>().unwrap());
    match text.split_at(1) {
        _ if text == "over" => Reading::over_range(),
        (">", n) => number(n).with_relation(Relation::Over),
        ("<", n) => number(n).with_relation(Relation::Under),
        _ => number(text),
    }
}

/// A 32 A type B radial of 23 m of 2.5/1.5, TN-C-S, Ze 0.21 Ω.
fn radial() -> CircuitFacts {
    CircuitFacts {
        earthing: Earthing::TnCS,
        u0: Volts::exact(230.0),
        phases: Phases::Single,
        supply_phases: Phases::Single,
        serves: CircuitUse::Sockets,
        ring: false,
        system: SystemVoltage::Low,
        device: Some(Overcurrent {
            kind: DeviceKind::BreakerB,
            amps: Amps::exact(32.0),
            breaking: Some(KiloAmps::exact(6.0)),
            acts: None,
        }),
        device_source: None,
        rcd: None,
        cable: Some(CableRun {
            line: SquareMillimetres::exact(2.5),
            cpc: SquareMillimetres::exact(1.5),
            length: Some(Metres::exact(23.0)),
            class: 1,
            made: bothhands::limits::CableMake::default(),
        }),
        ze: Some(Ohms::exact(0.21)),
        temperature: None,
        insulation_range: Some(999.0),
    }
}

fn with_rcd(milliamps: f64) -> CircuitFacts {
    CircuitFacts {
        rcd: Some(Residual {
            milliamps: MilliAmps::exact(milliamps),
            delay: RcdDelay::General,
        }),
        ..radial()
    }
}

fn tt() -> CircuitFacts {
    CircuitFacts {
        earthing: Earthing::Tt,
        ze: None,
        ..with_rcd(30.0)
    }
}

fn said(verdict: &Verdict) -> (Outcome, Option<Finding>) {
    (verdict.outcome, verdict.finding)
}

mod continuity {
    use super::*;

    fn r1_r2(text: &str) -> Verdict {
        judge::r1_r2(tables(), &radial(), TakenAt::Furthest, &read(text))
    }

    #[test]
    fn what_23_metres_should_read_passes_without_a_remark() {
        let verdict = r1_r2("0.45");
        assert_eq!(said(&verdict), (Outcome::Pass, None));
        assert_eq!(
            verdict.arithmetic,
            "Zs 0.95 × 230 V ÷ (5 × 32 A) = 1.37 Ω; (1.37 - Ze 0.21) ÷ 1.2 = 0.9667 Ω; 0.45 Ω is not \
             more than 0.9667 Ω; expected 23 m × (7.41 + 12.1) mΩ/m = 0.4487 Ω, tolerated 0.2865 to \
             0.6109 Ω"
        );
    }

    #[test]
    fn ten_times_as_much_asks_about_the_decimal_point() {
        let verdict = r1_r2("4.5");
        assert_eq!(
            said(&verdict),
            (Outcome::Fail, Some(Finding::SlippedDecimal))
        );
        assert_eq!(
            verdict.remark.unwrap(),
            "About ten times what 23 m of 2.5 over 1.5 should read, 0.4487 Ω: has a decimal point \
             slipped, or is a joint loose?"
        );
    }

    #[test]
    fn a_tenth_asks_too_although_the_limit_holds() {
        assert_eq!(
            said(&r1_r2("0.04")),
            (Outcome::CannotSay, Some(Finding::SlippedDecimal))
        );
    }

    #[test]
    fn more_and_less_than_expected_are_looked_at_again() {
        assert_eq!(
            said(&r1_r2("0.80")),
            (Outcome::CannotSay, Some(Finding::HigherThanExpected))
        );
        assert_eq!(
            said(&r1_r2("0.20")),
            (Outcome::CannotSay, Some(Finding::LowerThanExpected))
        );
    }

    #[test]
    fn on_the_way_to_the_furthest_point_less_is_right() {
        let verdict = judge::r1_r2(tables(), &radial(), TakenAt::OnTheWay, &read("0.20"));
        assert_eq!(said(&verdict), (Outcome::Pass, None));
    }

    #[test]
    fn over_range_is_open_and_fails_because_the_range_reaches_past_the_limit() {
        assert_eq!(said(&r1_r2("over")), (Outcome::Fail, Some(Finding::Open)));
    }

    #[test]
    fn volts_are_not_ohms() {
        let volts = read("230").in_unit(Unit::Volt);
        let verdict = judge::r1_r2(tables(), &radial(), TakenAt::Furthest, &volts);
        assert_eq!(
            said(&verdict),
            (Outcome::CannotSay, Some(Finding::WrongUnit))
        );
    }

    #[test]
    fn milliohms_are() {
        let reading = read("450").in_unit(Unit::MilliOhm);
        let verdict = judge::r1_r2(tables(), &radial(), TakenAt::Furthest, &reading);
        assert_eq!(verdict.outcome, Outcome::Pass);
    }

    #[test]
    fn without_a_length_nothing_is_expected_and_without_a_device_nothing_fails() {
        let facts = CircuitFacts {
            cable: None,
            device: None,
            ..radial()
        };
        let verdict = judge::r1_r2(tables(), &facts, TakenAt::Furthest, &read("4.5"));
        assert_eq!(said(&verdict), (Outcome::Pass, None));
    }

    #[test]
    fn r2_is_compared_with_the_protective_conductor_alone() {
        let r2 = |t| judge::r2(tables(), &radial(), TakenAt::Furthest, &read(t));
        assert_eq!(said(&r2("0.28")), (Outcome::Pass, None));
        assert_eq!(
            said(&r2("2.8")),
            (Outcome::CannotSay, Some(Finding::SlippedDecimal))
        );
    }

    #[test]
    fn a_short_bond_reads_a_twentieth_of_an_ohm() {
        let bond = |t| said(&judge::bonding(tables(), &read(t)));
        assert_eq!(bond("0.04"), (Outcome::Pass, None));
        assert_eq!(bond("0.05"), (Outcome::Pass, None));
        assert_eq!(
            bond("0.12"),
            (Outcome::CannotSay, Some(Finding::LongForABond))
        );
        assert_eq!(bond("over"), (Outcome::Fail, Some(Finding::Open)));
    }
}

mod rings {
    use super::*;

    fn ring() -> CircuitFacts {
        let mut facts = radial();
        facts.ring = true;
        if let Some(cable) = &mut facts.cable {
            cable.length = Some(Metres::exact(54.0));
        }
        facts
    }

    fn ends() -> bothhands::limits::ring::Ends {
        judge::ring_ends(tables(), &read("0.40"), &read("0.40"), &read("0.65")).unwrap()
    }

    #[test]
    fn rn_is_compared_with_r1() {
        let r1 = read("0.40");
        let rn = |t| judge::ring_end(tables(), &ring(), Leg::Neutral, &read(t), Some(&r1));
        assert_eq!(said(&rn("0.42")), (Outcome::Pass, None));
        assert_eq!(
            said(&rn("0.52")),
            (Outcome::CannotSay, Some(Finding::RingFault))
        );
        assert_eq!(said(&rn("over")), (Outcome::Fail, Some(Finding::Open)));
    }

    #[test]
    fn r2_is_compared_with_r1_times_the_ratio_of_the_sizes() {
        let r1 = read("0.40");
        let r2 = |t| {
            said(&judge::ring_end(
                tables(),
                &ring(),
                Leg::Cpc,
                &read(t),
                Some(&r1),
            ))
        };
        assert_eq!(r2("0.66"), (Outcome::Pass, None));
        assert_eq!(r2("0.40"), (Outcome::CannotSay, Some(Finding::RingFault)));
        assert_eq!(r2("0.95"), (Outcome::CannotSay, Some(Finding::RingFault)));
    }

    #[test]
    fn a_point_is_compared_with_the_ring_as_the_person_goes_round() {
        let at = |t, spur| {
            let stage = CrossedPair::LineNeutral;
            said(&judge::ring_point(
                tables(),
                &ring(),
                stage,
                &ends(),
                &read(t),
                spur,
            ))
        };
        assert_eq!(at("0.20", false), (Outcome::Pass, None));
        assert_eq!(at("0.34", false), (Outcome::CannotSay, Some(Finding::Spur)));
        assert_eq!(at("0.34", true), (Outcome::Pass, None));
        assert_eq!(
            at("0.05", false),
            (Outcome::CannotSay, Some(Finding::RingFault))
        );
        assert_eq!(at("over", false), (Outcome::Fail, Some(Finding::Open)));
    }

    #[test]
    fn the_whole_ring_gives_its_highest_line_to_earth_reading_as_r1_r2() {
        let point = |n: u8, le: f64| PointReading {
            name: format!("socket {n}"),
            spur: false,
            line_neutral: Some(Ohms::exact(0.20)),
            line_cpc: Some(Ohms::exact(le)),
        };
        let points = [point(1, 0.25), point(2, 0.26), point(3, 0.25)];
        let verdict = judge::ring(tables(), &ring(), &ends(), &points);
        assert_eq!(said(&verdict), (Outcome::Pass, None));
        assert!(
            verdict
                .arithmetic
                .ends_with("highest line to cpc 0.26 Ω = R1+R2")
        );
        let part = judge::ring(tables(), &ring(), &ends(), &[]);
        assert_eq!(part.outcome, Outcome::CannotSay);
    }
}

mod insulated {
    use super::*;

    fn pattern(ln: &str, le: &str, ne: &str) -> (Outcome, Pattern) {
        let readings = [
            (Pair::LN, read(ln)),
            (Pair::LE, read(le)),
            (Pair::NE, read(ne)),
        ];
        let (verdict, pattern) = judge::insulation_pattern(tables(), &radial(), &readings);
        (verdict.outcome, pattern)
    }

    #[test]
    fn the_lowest_pair_decides_and_the_pattern_explains() {
        assert_eq!(
            pattern(">999", "over", "500"),
            (Outcome::Pass, Pattern::Sound)
        );
        assert_eq!(
            pattern("0.2", "over", "over"),
            (Outcome::Fail, Pattern::LoadAcross(Pair::LN))
        );
        assert_eq!(
            pattern("over", "over", "0.0"),
            (Outcome::Fail, Pattern::NeutralEarthFault)
        );
    }

    #[test]
    fn a_pattern_never_says_more_than_it_may_be() {
        for (ln, le, ne) in [
            ("0.2", ">999", ">999"),
            ("0.0", ">999", ">999"),
            ("0.1", "0.1", "0.1"),
        ] {
            let words = pattern(ln, le, ne).1.spoken();
            let cautious = ["probably", "looks like", "possible", "or a load"];
            assert!(cautious.iter().any(|c| words.contains(c)), "{words}");
            assert!(!words.contains("safe"));
        }
    }

    #[test]
    fn a_low_pass_on_new_work_is_worth_a_look() {
        let verdict = judge::insulation(tables(), &radial(), &read("1.4"));
        assert_eq!(
            said(&verdict),
            (Outcome::Pass, Some(Finding::LowForNewWork))
        );
    }

    #[test]
    fn extra_low_voltage_has_its_own_limit() {
        let facts = CircuitFacts {
            system: SystemVoltage::Selv,
            ..radial()
        };
        assert_eq!(
            judge::insulation(tables(), &facts, &read("0.50")).outcome,
            Outcome::Pass
        );
        assert_eq!(
            judge::insulation(tables(), &facts, &read("0.49")).outcome,
            Outcome::Fail
        );
    }
}

mod loops {
    use super::*;

    fn zs(facts: &CircuitFacts, text: &str) -> Verdict {
        judge::zs(tables(), facts, &read(text), LoopContext::default())
    }

    #[test]
    fn within_the_rule_of_thumb_and_the_proper_correction() {
        let verdict = zs(&radial(), "0.66");
        assert_eq!(said(&verdict), (Outcome::Pass, None));
        assert_eq!(verdict.clause, "411.4.4; Table 41.3");
        assert_eq!(
            verdict.arithmetic,
            "0.95 × 230 V ÷ (5 × 32 A) = 1.37 Ω; cold, 0.8 × 1.37 = 1.096 Ω: 0.66 Ω within; corrected to \
             70 °C, 0.21 + (0.66 - 0.21) × 1.2 = 0.75 Ω: within"
        );
    }

    #[test]
    fn past_the_rule_of_thumb_the_proper_correction_decides_when_ze_is_known() {
        // 0.21 + (1.15 - 0.21) × 1.2 = 1.338 ≤ 1.37 although 1.15 > 0.8 × 1.37.
        let corrected = zs(&radial(), "1.15");
        assert_eq!(
            said(&corrected),
            (Outcome::Pass, Some(Finding::WithinWhenCorrected))
        );
        assert_eq!(
            corrected.arithmetic,
            "0.95 × 230 V ÷ (5 × 32 A) = 1.37 Ω; cold, 0.8 × 1.37 = 1.096 Ω: 1.15 Ω over; corrected to \
             70 °C, 0.21 + (1.15 - 0.21) × 1.2 = 1.338 Ω: within"
        );
        assert_eq!(zs(&radial(), "1.20").outcome, Outcome::Fail);
    }

    #[test]
    fn a_declared_ze_is_a_bound_that_settles_only_what_holds_for_all_below_it() {
        let declared = CircuitFacts {
            ze: Some(CircuitFacts::declared(0.35)),
            ..radial()
        };
        // By the rule of thumb.
        assert_eq!(said(&zs(&declared, "1.09")), (Outcome::Pass, None));
        // 0.35 + 0.78 × 1.2 = 1.286, and 1.13 × 1.2 = 1.356.
        assert_eq!(
            said(&zs(&declared, "1.13")),
            (Outcome::Pass, Some(Finding::WithinWhenCorrected))
        );
        // 0.35 + 0.85 × 1.2 = 1.37, but 1.20 × 1.2 = 1.44.
        let open = zs(&declared, "1.20");
        assert_eq!(said(&open), (Outcome::CannotSay, None));
        assert!(
            open.arithmetic.ends_with(
                "Ze at most 0.35, from 0.35 + (1.2 - 0.35) × 1.2 = 1.37 Ω, to 1.2 × 1.2 = 1.44 Ω: \
                 cannot say"
            ),
            "{}",
            open.arithmetic
        );
        // 0.35 + 0.86 × 1.2 = 1.382.
        assert_eq!(zs(&declared, "1.21").outcome, Outcome::Fail);
        // R1+R2: (1.37 - 0.35) ÷ 1.2 = 0.85 whatever Ze is, 1.37 ÷ 1.2 = 1.142 were there none.
        let declared = CircuitFacts {
            cable: None,
            ..declared
        };
        let r1_r2 = |t| judge::r1_r2(tables(), &declared, TakenAt::Furthest, &read(t)).outcome;
        assert_eq!(
            [r1_r2("0.85"), r1_r2("0.86"), r1_r2("1.14"), r1_r2("1.15")],
            [
                Outcome::Pass,
                Outcome::CannotSay,
                Outcome::CannotSay,
                Outcome::Fail
            ]
        );
    }

    #[test]
    fn and_is_left_open_when_ze_is_not() {
        let unknown = CircuitFacts {
            ze: None,
            ..radial()
        };
        assert_eq!(zs(&unknown, "1.09").outcome, Outcome::Pass);
        assert_eq!(zs(&unknown, "1.20").outcome, Outcome::CannotSay);
        assert_eq!(zs(&unknown, "1.38").outcome, Outcome::Fail);
    }

    #[test]
    fn the_limit_itself_is_the_tables_own_rounding() {
        let no_heating = CircuitFacts {
            temperature: Some(Celsius::exact(70.0)),
            ..radial()
        };
        assert_eq!(zs(&no_heating, "1.37").outcome, Outcome::Pass);
        assert_eq!(zs(&no_heating, "1.38").outcome, Outcome::Fail);
    }

    /// What a schedule prints beside a reading is where the verdict on it turns.
    #[test]
    fn the_largest_that_may_be_read_passes_and_a_hundredth_more_does_not() {
        let with_ze = |ze: Option<Ohms>| CircuitFacts { ze, ..radial() };
        let hot = CircuitFacts {
            temperature: Some(Celsius::exact(70.0)),
            ..radial()
        };
        for (facts, measured, most) in [
            // 0.21 + (1.17 - 0.21) × 1.2 = 1.362 ≤ 1.37 < 1.374.
            (radial(), None, 1.17),
            // 0.35 + (1.20 - 0.35) × 1.2 = 1.37.
            (radial(), Some("0.35"), 1.20),
            // 1.14 × 1.2 = 1.368 ≤ 1.37, were there no Ze.
            (with_ze(Some(CircuitFacts::declared(0.35))), None, 1.14),
            (with_ze(None), None, 1.14),
            (hot, None, 1.37),
        ] {
            let measured = measured.map(read);
            let found = judge::zs_read_at_most(tables(), &facts, measured.as_ref()).unwrap();
            assert_eq!(found.value(), Some(most));
            let judged = |hundredths: f64| {
                let text = format!("{:.2}", most + hundredths / 100.0);
                let beside = LoopContext {
                    ze: measured.as_ref(),
                    r1_r2: None,
                };
                judge::zs(tables(), &facts, &read(&text), beside).outcome
            };
            assert_eq!(judged(0.0), Outcome::Pass);
            assert_ne!(judged(1.0), Outcome::Pass);
        }
        let by_rcd = judge::zs_read_at_most(tables(), &tt(), None);
        assert_eq!(by_rcd.and_then(Ohms::value), Some(1667.0));
        let no_device = CircuitFacts {
            device: None,
            ..radial()
        };
        assert_eq!(judge::zs_read_at_most(tables(), &no_device, None), None);
    }

    #[test]
    fn beside_ze_plus_r1_r2_a_lower_reading_is_a_parallel_path_and_a_higher_one_a_question() {
        let r1_r2 = read("0.45");
        let beside = LoopContext {
            ze: None,
            r1_r2: Some(&r1_r2),
        };
        let at = |t| judge::zs(tables(), &radial(), &read(t), beside).finding;
        assert_eq!(at("0.66"), None);
        assert_eq!(at("0.40"), Some(Finding::ParallelPath));
        assert_eq!(at("0.95"), Some(Finding::HigherThanSum));
        assert_eq!(at("6.6"), Some(Finding::SlippedDecimal));
    }

    #[test]
    fn a_loop_below_ze_runs_beside_it_and_says_so() {
        let verdict = zs(&radial(), "0.12");
        assert_eq!(said(&verdict), (Outcome::Pass, Some(Finding::ParallelPath)));
        assert!(
            verdict
                .arithmetic
                .contains("external part not known, up to 0.12 × 1.2 = 0.144 Ω")
        );
    }

    #[test]
    fn over_the_breakers_limit_an_rcd_is_named_but_the_designer_decides() {
        let verdict = zs(&with_rcd(30.0), "2.40");
        assert_eq!(
            said(&verdict),
            (Outcome::CannotSay, Some(Finding::RestsOnRcd))
        );
        assert!(verdict.remark.unwrap().contains("50 V ÷ 0.03 A = 1667 Ω"));
        assert_eq!(zs(&radial(), "2.40").outcome, Outcome::Fail);
    }

    #[test]
    fn on_tt_the_rcd_sets_the_limit_and_a_dry_electrode_is_doubted() {
        assert_eq!(said(&zs(&tt(), "90")), (Outcome::Pass, None));
        assert_eq!(
            said(&zs(&tt(), "350")),
            (Outcome::Pass, Some(Finding::UnstableElectrode))
        );
        assert_eq!(zs(&tt(), "1667").outcome, Outcome::Pass);
        assert_eq!(zs(&tt(), "1700").outcome, Outcome::Fail);
    }

    #[test]
    fn over_range_is_no_loop_and_never_a_pass() {
        let verdict = zs(&radial(), "over");
        assert_eq!(said(&verdict), (Outcome::CannotSay, Some(Finding::Open)));
        assert_eq!(zs(&radial(), ">20").outcome, Outcome::Fail);
    }

    #[test]
    fn a_fuse_from_memory_says_so() {
        let mut facts = radial();
        if let Some(device) = &mut facts.device {
            (device.kind, device.amps) = (DeviceKind::Bs3036, Amps::exact(30.0));
        }
        let verdict = zs(&facts, "0.50");
        assert_eq!(verdict.outcome, Outcome::Pass);
        assert!(verdict.remark.unwrap().contains("from memory"));
    }

    #[test]
    fn a_device_without_a_value_is_not_judged() {
        let mut facts = radial();
        if let Some(device) = &mut facts.device {
            (device.kind, device.amps) = (DeviceKind::Bs88Part3, Amps::exact(7.0));
        }
        assert_eq!(zs(&facts, "0.50").outcome, Outcome::CannotSay);
    }

    #[test]
    fn a_stricter_fuse_table_can_pass_a_slower_circuit_but_not_fail_it() {
        let mut facts = radial();
        facts.serves = CircuitUse::Distribution;
        if let Some(device) = &mut facts.device {
            (device.kind, device.amps) = (DeviceKind::Bs88Part3, Amps::exact(5.0));
        }
        // A copy of the tables without its row for 5 s.
        let row = "{ amps = 5, ohms = 14.6, ia = 15, to = 0.1, mark = \"memory\" },";
        let text = Tables::shipped_text();
        assert!(text.contains(row));
        let tables = Tables::parse(&text.replace(row, ""), "copy").unwrap();
        let zs = |ohms: &str| judge::zs(&tables, &facts, &read(ohms), LoopContext::default());
        assert_eq!(zs("4.00").outcome, Outcome::Pass);
        assert_eq!(zs("12.0").outcome, Outcome::CannotSay);
    }

    #[test]
    fn ze_is_compared_with_what_distributors_declare() {
        let ze = |t| said(&judge::ze(tables(), &radial(), &read(t)));
        assert_eq!(ze("0.21"), (Outcome::Pass, None));
        assert_eq!(
            ze("0.60"),
            (Outcome::CannotSay, Some(Finding::HigherThanDeclared))
        );
        // More than this distributor declared, though not more than is usual.
        let declared = CircuitFacts {
            ze: Some(CircuitFacts::declared(0.21)),
            ..radial()
        };
        assert_eq!(
            said(&judge::ze(tables(), &declared, &read("0.30"))),
            (Outcome::Pass, Some(Finding::HigherThanDeclared))
        );
        let electrode = judge::ze(tables(), &tt(), &read("120"));
        assert_eq!(electrode.outcome, Outcome::Pass);
    }

    #[test]
    fn fault_current_counts_the_largest_and_doubles_for_three_phases_unless_measured() {
        let l1_n: Pair = "L1-N".parse().unwrap();
        let l1_l2: Pair = "L1-L2".parse().unwrap();
        let six = Some(KiloAmps::exact(6.0));
        let judged = |phases, readings: &[(Pair, Reading)]| {
            judge::fault_current(tables(), phases, six, readings).outcome
        };
        let single = [(Pair::LN, read("3.4")), (Pair::LE, read("2.9"))];
        assert_eq!(judged(Phases::Single, &single), Outcome::Pass);
        assert_eq!(judged(Phases::Three, &[(l1_n, read("3.4"))]), Outcome::Fail);
        let measured = [(l1_n, read("3.4")), (l1_l2, read("5.8"))];
        assert_eq!(judged(Phases::Three, &measured), Outcome::Pass);
        let none = judge::fault_current(tables(), Phases::Single, None, &single);
        assert_eq!(none.outcome, Outcome::CannotSay);
    }

    #[test]
    fn under_a_tenth_of_a_second_the_makers_energy_decides_and_nothing_passes_or_fails() {
        for ohms in ["0.66", "0.10", "0.01"] {
            let quick = judge::cpc_size(tables(), &radial(), &read(ohms)).unwrap();
            assert_eq!(
                said(&quick),
                (Outcome::CannotSay, Some(Finding::MakersEnergy))
            );
            assert!(quick.limit.starts_with("by the maker's I²t"));
            assert!(
                quick
                    .arithmetic
                    .ends_with("cleared in under 0.1 s; k²S² = 115² × 1.5² = 29756 A²s"),
                "{}",
                quick.arithmetic
            );
        }
        let below = judge::cpc_size(tables(), &radial(), &read("2.00")).unwrap();
        assert_eq!(said(&below), (Outcome::CannotSay, None));
    }

    #[test]
    fn a_fuse_heats_the_cpc_no_longer_than_its_rows_say() {
        let mut facts = radial();
        facts.serves = CircuitUse::Distribution;
        if let Some(device) = &mut facts.device {
            (device.kind, device.amps) = (DeviceKind::Bs88Part2, Amps::exact(25.0));
        }
        let cpc = |t| judge::cpc_size(tables(), &facts, &read(t)).unwrap();
        // 230 ÷ 0.42 = 547.6 A: past the gate of 260 A.
        assert_eq!(cpc("0.42").finding, Some(Finding::MakersEnergy));
        // 230 ÷ 1.00 = 230 A: between 170 A and the gate, 0.4 s: √(230² × 0.4) ÷ 115 = 1.265.
        let quick = cpc("1.00");
        assert_eq!(said(&quick), (Outcome::Pass, None));
        assert!(
            quick
                .arithmetic
                .ends_with("√(230² × 0.4 s) ÷ 115 = 1.265 mm² beside 1.5 mm²"),
            "{}",
            quick.arithmetic
        );
        // 230 ÷ 1.50 = 153.3 A: between 100 A and 170 A, 5 s: √(153.3² × 5) ÷ 115 = 2.981.
        assert_eq!(cpc("1.50").outcome, Outcome::CannotSay);
        assert!(cpc("1.50").arithmetic.contains("× 5 s"));
        // 230 ÷ 3.00 = 76.7 A: no row says that it clears that.
        assert!(!cpc("3.00").arithmetic.contains('√'));
    }

    #[test]
    fn a_supplementary_bond_keeps_the_touch_voltage_down_by_what_protects_the_place() {
        let bond =
            |all: &[CircuitFacts], t| said(&judge::supplementary_bond(tables(), all, &read(t)));
        // 50 V ÷ 160 A = 0.3125 Ω; 50 V ÷ 0.03 A = 1667 Ω.
        assert_eq!(bond(&[radial()], "0.31"), (Outcome::Pass, None));
        assert_eq!(bond(&[radial()], "0.32"), (Outcome::Fail, None));
        assert_eq!(bond(&[with_rcd(30.0)], "0.35"), (Outcome::Pass, None));
        assert_eq!(
            bond(&[with_rcd(30.0)], "20"),
            (Outcome::Pass, Some(Finding::LongForABond))
        );
        assert_eq!(
            bond(&[with_rcd(30.0), radial()], "0.32"),
            (Outcome::CannotSay, None)
        );
        assert_eq!(bond(&[with_rcd(30.0), radial()], "0.31").0, Outcome::Pass);
        assert_eq!(
            bond(&[with_rcd(30.0)], "over"),
            (Outcome::Fail, Some(Finding::Open))
        );
        assert_eq!(bond(&[], "0.02").0, Outcome::CannotSay);
        let mut fused = radial();
        if let Some(device) = &mut fused.device {
            (device.kind, device.amps) = (DeviceKind::Bs88Part3, Amps::exact(32.0));
        }
        let verdict = judge::supplementary_bond(tables(), &[fused], &read("0.20"));
        assert!(
            verdict
                .arithmetic
                .starts_with("50 V ÷ 140 A = 0.3571 Ω, which operates BS 88-3 32 A in 5 s"),
            "{}",
            verdict.arithmetic
        );
    }

    #[test]
    fn voltage_drop_against_five_per_cent_and_three_for_lighting() {
        let drop = |facts: &CircuitFacts| {
            judge::voltage_drop(tables(), facts, &read("0.25"), None).unwrap()
        };
        assert_eq!(drop(&radial()).outcome, Outcome::Pass);
        let lighting = CircuitFacts {
            serves: CircuitUse::Lighting,
            ..radial()
        };
        assert_eq!(drop(&lighting).outcome, Outcome::CannotSay);
    }
}

mod rcds {
    use super::*;

    fn rcd(multiple: Multiple, text: &str) -> Outcome {
        judge::rcd(tables(), &with_rcd(30.0), multiple, &read(text))
            .unwrap()
            .outcome
    }

    #[test]
    fn general_type_trips_in_time() {
        assert_eq!(rcd(Multiple::Once, "24"), Outcome::Pass);
        assert_eq!(rcd(Multiple::Once, "300"), Outcome::Pass);
        assert_eq!(rcd(Multiple::Once, "301"), Outcome::Fail);
        assert_eq!(rcd(Multiple::Once, ">300"), Outcome::Fail);
        assert_eq!(rcd(Multiple::Once, ">200"), Outcome::CannotSay);
        assert_eq!(rcd(Multiple::Five, "41"), Outcome::Fail);
        assert_eq!(rcd(Multiple::Once, "over"), Outcome::Fail);
    }

    #[test]
    fn it_must_not_trip_at_half() {
        assert_eq!(rcd(Multiple::Half, "over"), Outcome::Pass);
        assert_eq!(rcd(Multiple::Half, ">1999"), Outcome::Pass);
        assert_eq!(rcd(Multiple::Half, "120"), Outcome::Fail);
    }

    #[test]
    fn a_time_delayed_one_must_wait() {
        let facts = CircuitFacts {
            rcd: Some(Residual {
                milliamps: MilliAmps::exact(100.0),
                delay: RcdDelay::S,
            }),
            ..radial()
        };
        let at = |t| {
            judge::rcd(tables(), &facts, Multiple::Once, &read(t))
                .unwrap()
                .outcome
        };
        assert_eq!(
            (at("90"), at("130"), at("310"), at("501")),
            (Outcome::Fail, Outcome::Pass, Outcome::Pass, Outcome::Fail)
        );
    }

    #[test]
    fn the_slower_half_cycle_is_the_one_to_record() {
        let (zero, one_eighty) = (read("18"), read("26"));
        assert_eq!(judge::slower(&zero, &one_eighty), &one_eighty);
        let never = read("over");
        assert_eq!(judge::slower(&never, &one_eighty), &never);
    }
}

#[test]
fn every_verdict_names_limit_clause_edition_and_sum_and_goes_into_the_log_and_back() {
    for verdict in [
        judge::r1_r2(tables(), &radial(), TakenAt::Furthest, &read("0.45")),
        judge::insulation(tables(), &radial(), &read(">999")),
        judge::zs(tables(), &radial(), &read("0.6"), LoopContext::default()),
        judge::ze(tables(), &radial(), &read("0.2")),
        judge::bonding(tables(), &read("0.03")),
        judge::rcd(tables(), &with_rcd(30.0), Multiple::Once, &read("20")).unwrap(),
    ] {
        for part in [&*verdict.limit, &verdict.clause, &verdict.arithmetic] {
            assert!(!part.is_empty());
        }
        assert_eq!(verdict.edition, "BS 7671:2018+A2:2022");
        let text = serde_json::to_string(&verdict).unwrap();
        assert_eq!(serde_json::from_str::<Verdict>(&text).unwrap(), verdict);
        assert_eq!(no_sentence(&verdict), None);
        assert!(!verdict.to_string().contains(" safe"));
    }
}

/// What stands in a verdict beside the names of its sentences, where that is a sentence itself: more
/// than two words of small letters in a row.
fn no_sentence(verdict: &Verdict) -> Option<String> {
    let said = [
        Some(&verdict.limit),
        Some(&verdict.arithmetic),
        verdict.remark.as_ref(),
    ];
    let figures = said.into_iter().flatten().flat_map(|said| said.figures());
    figures
        .filter(|figure| {
            let words: Vec<&str> = figure.split(' ').collect();
            let small =
                |word: &&str| word.len() > 1 && word.chars().all(|c| c.is_ascii_lowercase());
            words.windows(3).any(|three| three.iter().all(&small))
        })
        .map(str::to_owned)
        .next()
}

#[test]
fn an_edited_table_changes_the_limit_and_the_edition_in_the_verdict() {
    let text = Tables::shipped_text()
        .replace("BS 7671:2018+A2:2022", "an edition to come")
        .replace("cmin = 0.95", "cmin = 0.90");
    let tables = Tables::parse(&text, "mine.toml").unwrap();
    let verdict = judge::zs(&tables, &radial(), &read("0.6"), LoopContext::default());
    assert!(
        verdict
            .arithmetic
            .starts_with("0.9 × 230 V ÷ (5 × 32 A) = 1.29 Ω"),
        "{}",
        verdict.arithmetic
    );
    assert_eq!(verdict.edition, "an edition to come");
}

mod whatever_the_numbers {
    use super::*;

    const SIZES: [f64; 13] = [
        0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0,
    ];

    fn ohms(mm2: f64, metres: f64, t: f64) -> f64 {
        let (size, length) = (SquareMillimetres::exact(mm2), Metres::exact(metres));
        conductor::resistance(tables(), size, 1, length, Celsius::exact(t))
            .unwrap()
            .middle()
    }

    fn any_reading() -> impl Strategy<Value = Reading> {
        let number = (0u64..99_999, 0u8..4).prop_map(|(d, p)| Number::new(d, p).unwrap());
        let relation = prop_oneof![
            4 => Just(Relation::Exact), 1 => Just(Relation::Over), 1 => Just(Relation::Under),
        ];
        prop_oneof![
            8 => (number, relation).prop_map(|(n, r)| Reading::exact(n).with_relation(r)),
            1 => Just(Reading::over_range()),
        ]
    }

    proptest! {
        #[test]
        fn resistance_grows_with_length_and_temperature_and_falls_with_size(
            i in 0..SIZES.len() - 1, a in 0.1..500.0f64, more in 0.1..500.0f64,
            t in -20.0..60.0f64, warmer in 0.1..50.0f64,
        ) {
            let (small, large) = (SIZES[i], SIZES[i + 1]);
            prop_assert!(ohms(small, a + more, t) > ohms(small, a, t));
            prop_assert!(ohms(small, a, t + warmer) > ohms(small, a, t));
            prop_assert!(ohms(large, a, t) < ohms(small, a, t));
        }

        #[test]
        fn warming_and_cooling_undo_each_other(r in 0.01..10.0f64, t in -20.0..70.0f64) {
            let t = Celsius::exact(t);
            let back = conductor::cooled(tables(), conductor::warmed(tables(), Ohms::exact(r), t), t);
            prop_assert!((back.middle() - r).abs() < 1e-12 * r.max(1.0));
        }

        #[test]
        fn a_larger_device_never_allows_a_larger_loop(a in 1.0..124.0f64, more in 0.1..50.0f64) {
            let zs = |amps| {
                let device = Overcurrent {
                    kind: DeviceKind::BreakerC, amps: Amps::exact(amps), breaking: None, acts: None,
                };
                earth_loop::maximum_zs(tables(), &device, Volts::exact(230.0), 0.4).unwrap().ohms.middle()
            };
            prop_assert!(zs(a + more) <= zs(a));
        }

        #[test]
        fn the_board_is_never_better_than_its_worst_circuit(
            all in prop::collection::vec((0.01..2000.0f64, any::<bool>()), 1..20),
        ) {
            let circuits: Vec<_> = all
                .iter()
                .map(|(v, over)| if *over { MegOhms::over(*v) } else { MegOhms::exact(*v) })
                .collect();
            let board = MegOhms::parallel(circuits.iter().copied());
            for circuit in &circuits {
                prop_assert!(board.low() <= circuit.low() && board.high() <= circuit.high());
            }
            let one_fails = all.iter().any(|(v, over)| !over && *v < 1.0);
            if one_fails {
                let verdict = insulation::board(tables(), &circuits, SystemVoltage::Low);
                prop_assert_ne!(verdict.outcome, Outcome::Pass);
            }
        }

        #[test]
        fn hot_is_never_less_than_cold_and_bounds_never_invert(
            zs in 0.0..5.0f64, wide in 0.0..1.0f64, ze in 0.0..1.0f64, t in -10.0..69.0f64,
        ) {
            let zs = Ohms::between(zs, zs + wide);
            for ze in [None, Some(Ohms::exact(ze))] {
                let hot = earth_loop::running_zs(tables(), zs, ze, Celsius::exact(t), 70.0);
                prop_assert!(hot.low() <= hot.high());
                prop_assert!(hot.low() >= zs.low() - 1e-12 && hot.high() >= zs.high() - 1e-12);
            }
        }

        #[test]
        fn no_reading_whatever_brings_a_judge_down_or_is_called_safe(
            reading in any_reading(), other in any_reading(),
        ) {
            let beside = LoopContext { ze: Some(&other), r1_r2: Some(&other) };
            let readings = [(Pair::LN, reading), (Pair::LE, other), (Pair::NE, reading)];
            let ends = judge::ring_ends(tables(), &reading, &other, &reading).unwrap();
            let points = [PointReading {
                name: "socket 1".to_owned(), spur: false,
                line_neutral: Ohms::from_reading(&reading, None).ok(),
                line_cpc: Ohms::from_reading(&other, None).ok(),
            }];
            for facts in [radial(), tt(), with_rcd(30.0)] {
                let t = tables();
                for verdict in [
                    judge::r1_r2(t, &facts, TakenAt::Furthest, &reading),
                    judge::r2(t, &facts, TakenAt::OnTheWay, &reading),
                    judge::ring_end(t, &facts, Leg::Neutral, &reading, Some(&other)),
                    judge::ring_point(t, &facts, CrossedPair::LineCpc, &ends, &reading, false),
                    judge::ring(t, &facts, &ends, &points),
                    judge::bonding(t, &reading),
                    judge::supplementary_bond(t, std::slice::from_ref(&facts), &reading),
                    judge::cpc_size(t, &facts, &reading).unwrap(),
                    judge::insulation(t, &facts, &reading),
                    judge::insulation_pattern(t, &facts, &readings).0,
                    judge::zs(t, &facts, &reading, beside),
                    judge::ze(t, &facts, &reading),
                    judge::fault_current(t, Phases::Three, Some(KiloAmps::exact(6.0)), &readings),
                ] {
                    let text = verdict.to_string();
                    prop_assert!(!text.contains("NaN") && !text.contains(" safe"), "{}", text);
                    prop_assert_eq!(no_sentence(&verdict), None);
                    let kept = serde_json::to_string(&verdict).unwrap();
                    prop_assert_eq!(serde_json::from_str::<Verdict>(&kept).unwrap(), verdict);
                }
            }
        }

        #[test]
        fn over_range_alone_never_passes_a_limit_from_above(low in 0.0..3.0f64) {
            let text = format!(">{low:.2}");
            let verdict = judge::zs(tables(), &radial(), &read(&text), LoopContext::default());
            prop_assert_ne!(verdict.outcome, Outcome::Pass);
        }
    }
}

mod supply {
    use super::*;

    fn at(pair: &str, volts: &str) -> Option<Outcome> {
        let reading = Reading {
            unit: Some(Unit::Volt),
            ..read(volts)
        };
        let pair: Pair = pair.parse().unwrap();
        judge::supply_voltage(tables(), 230.0, pair, &reading).map(|verdict| verdict.outcome)
    }

    /// 230 V +10 % -6 % and 400 V between lines: Electricity Safety, Quality and Continuity Regulations
    /// 2002, regulation 27(2) and (3)(b). The sums by hand: 230 × 0.94 = 216.2, 230 × 1.1 = 253,
    /// 400 × 0.94 = 376, 400 × 1.1 = 440.
    #[test]
    fn what_a_distributor_may_supply_is_within_and_a_tenth_more_or_less_is_not() {
        for (pair, low, under, high, over) in [
            ("L-N", "216.2", "216.1", "253", "253.1"),
            ("L-E", "216.2", "216.1", "253", "253.1"),
            ("L2-N", "216.2", "216.1", "253", "253.1"),
            ("L1-L2", "376", "375.9", "440", "440.1"),
        ] {
            for (volts, outcome) in [
                (low, Outcome::Pass),
                (high, Outcome::Pass),
                (under, Outcome::Fail),
                (over, Outcome::Fail),
                ("0", Outcome::Fail),
            ] {
                assert_eq!(at(pair, volts), Some(outcome), "{pair} {volts}");
            }
        }
        assert_eq!(at("N-E", "1"), None, "neutral to earth has no limit");
        // Past 50 V, the touch voltage of BS 7671 411.5.3, it is no neutral: common practice.
        assert_eq!(at("N-E", "50"), None);
        assert_eq!(at("N-E", "231"), Some(Outcome::Fail));
    }

    #[test]
    fn a_copy_of_the_tables_from_before_has_the_shipped_row() {
        let text = Tables::shipped_text();
        let at = text.find("[supply_voltage]").unwrap();
        let end = text.find("[adiabatic]").unwrap();
        let older = format!("{}{}", &text[..at], &text[end..]);
        let older = Tables::parse(&older, "older.toml").unwrap();
        assert_eq!(older.supply_voltage, tables().supply_voltage);
    }
}
