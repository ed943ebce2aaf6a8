use bothhands::quantity::{Amps, Ohms, measure};

fn main() {
    let _: Amps = Ohms::exact(1.0).to::<measure::Amp>();
}
