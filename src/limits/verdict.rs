//! TEMPORARY until limits arrive.
use serde::{Deserialize, Serialize};
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    Pass,
    Fail,
    CannotSay,
}
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Verdict {
    pub outcome: Outcome,
    pub limit: String,
    pub clause: String,
    pub edition: String,
    pub arithmetic: String,
    pub remark: Option<String>,
    pub surprising: bool,
}
impl Verdict {
    pub fn passes(&self) -> bool {
        self.outcome == Outcome::Pass
    }
    pub fn is_surprising(&self) -> bool {
        self.surprising
    }
    pub fn spoken(&self) -> String {
        self.remark.clone().unwrap_or_default()
    }
    pub fn remark(&self) -> Option<&str> {
        self.remark.as_deref()
    }
}
pub mod judge {
    use super::*;
    use crate::quantity::{Reading, Relation};
    fn v(ok: bool, r: &str) -> Verdict {
        Verdict {
            outcome: if ok { Outcome::Pass } else { Outcome::Fail },
            limit: String::new(),
            clause: String::new(),
            edition: String::new(),
            arithmetic: String::new(),
            remark: (!ok).then(|| r.to_owned()),
            surprising: !ok,
        }
    }
    pub fn insulation(_s: crate::limits::SystemVoltage, r: &Reading) -> Verdict {
        v(
            matches!(r.relation, Relation::Over | Relation::OverRange)
                || r.number.is_some_and(|n| n.value() >= 1.0),
            "low, not a dead short: something may be connected",
        )
    }
    pub fn bond<T0, T1>(_: T0, _: T1) -> Verdict {
        v(true, "")
    }
    pub fn r1_r2<T0, T1, T2>(_: T0, _: T1, _: T2) -> Verdict {
        v(true, "")
    }
    pub fn external_loop<T0, T1>(_: T0, _: T1) -> Verdict {
        v(true, "")
    }
    pub fn fault_current<T0, T1, T2>(_: T0, _: T1, _: T2) -> Verdict {
        v(true, "")
    }
    pub fn loop_impedance<T0, T1, T2, T3, T4>(_: T0, _: T1, _: T2, _: T3, _: T4) -> Verdict {
        v(true, "")
    }
    pub fn rcd_half<T0, T1>(_: T0, _: T1) -> Verdict {
        v(true, "")
    }
    pub fn rcd_time<T0, T1>(_: T0, _: T1) -> Verdict {
        v(true, "")
    }
    pub fn ring_rn<T0, T1, T2>(_: T0, _: T1, _: T2) -> Verdict {
        v(true, "")
    }
    pub fn ring_r2<T0, T1, T2>(_: T0, _: T1, _: T2) -> Verdict {
        v(true, "")
    }
    pub fn ring_r1<T0, T1>(_: T0, _: T1) -> Verdict {
        v(true, "")
    }
    pub fn ring_crossed<T0, T1, T2, T3, T4>(_: T0, _: T1, _: T2, _: T3, _: T4) -> Verdict {
        v(true, "")
    }
}
