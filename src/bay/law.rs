/// How the current through a part that is not a plain resistance follows the voltage across it. Each
/// is the same both ways round.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Law {
    /// Electronics: i = v ÷ ohms · (1 + (v ÷ volts)²). Less resistance the more voltage.
    Electronics {
        /// Resistance at no voltage, Ω.
        ohms: f64,
        /// Where it has half of that.
        volts: f64,
    },
    /// A neon indicator with its resistor: i = v ÷ ohms · x ÷ (1 + x), x = (v ÷ volts)⁸. About nothing
    /// below where it strikes.
    Neon {
        /// Of the resistor, Ω.
        ohms: f64,
        /// Where it strikes.
        volts: f64,
    },
    /// Surge protection: i = v ÷ ohms + amps · (v ÷ volts)¹⁵. Hardly anything below its clamping voltage.
    Surge {
        /// Its leakage, Ω.
        ohms: f64,
        /// Its clamping voltage.
        volts: f64,
        /// The current at that voltage, A.
        amps: f64,
    },
}

impl Law {
    /// Current over voltage at `v`, S.
    pub fn siemens(self, v: f64) -> f64 {
        match self {
            Self::Electronics { ohms, volts } => (1.0 + (v / volts).powi(2)) / ohms,
            Self::Neon { ohms, volts } => {
                let x = (v / volts).powi(8);
                x / (1.0 + x) / ohms + 1e-12
            }
            Self::Surge { ohms, volts, amps } => 1.0 / ohms + amps / volts * (v / volts).powi(14),
        }
    }

    /// How fast the current grows with the voltage at `v`, S.
    pub(super) fn slope(self, v: f64) -> f64 {
        let step = 1e-3 * v.abs().max(1.0);
        let current = |v: f64| self.siemens(v) * v;
        (current(v + step) - current(v - step)) / (2.0 * step)
    }
}
