//! How a test of insulation settles. A cable is charged within milliseconds; what is seen for seconds and
//! minutes is the charge that its insulation goes on taking up, which falls with one over the time.
//!
//! Hamon's rule (B. V. Hamon, An approximate method for deducing dielectric loss factor from direct-current
//! measurements, Proc. IEE 99 (1952)): a material whose loss factor is tan δ at the angular frequency
//! 0.63 ÷ t lets i = V · C · tan δ · 0.63 ÷ t through at the time t.

use super::conditions::Conditions;
use super::model::{CircuitModel, Model};
use super::probing::conductors_named;
use crate::terms::{Between, Probe, Setting};

/// How long a test is held on before the first number is read, s: common practice.
const FIRST_SHOWN: f64 = 5.0;
/// Capacitance between two conductors of a cable, F/m: 100 to 200 pF/m, common practice.
const CAPACITANCE: f64 = 100e-12;
/// Loss factor of PVC: 0.05 to 0.1, from memory.
const LOSS: f64 = 0.05;
const HAMON: f64 = 0.63;

/// What the charge that is taken up amounts to as a resistance beside the insulation, Ω; infinite where no
/// cable is tested.
pub(super) fn ohms(model: &Model, conditions: &Conditions, probe: &Probe) -> f64 {
    let (Setting::Insulation { .. }, Between::Pair(pair)) = (probe.setting, &probe.between) else {
        return f64::INFINITY;
    };
    let Some(b) = model.board(probe.board) else {
        return f64::INFINITY;
    };
    let board = &model.boards[b];
    let tested = |circuit: &&CircuitModel| match probe.circuit {
        Some(number) => circuit.number == number,
        // On the bars are all those whose devices are on.
        None => {
            let at = (board.number, circuit.number);
            !conditions.devices_off.contains(&at) && !conditions.out_of_terminals.contains(&at)
        }
    };
    let pairs_of_metres = |circuit: &CircuitModel| {
        let [from, to] = [pair.from(), pair.to()].map(|c| conductors_named(c, circuit));
        let metres: f64 = circuit.cables.iter().map(|cable| cable.metres).sum();
        (from * to) as f64 * metres
    };
    let metres: f64 = board
        .circuits
        .iter()
        .filter(tested)
        .map(pairs_of_metres)
        .sum();
    let seconds = FIRST_SHOWN + f64::from(probe.held);
    seconds / (CAPACITANCE * LOSS * HAMON * metres)
}
