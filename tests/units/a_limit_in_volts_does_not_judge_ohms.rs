use bothhands::quantity::{Ohms, Volts};

fn main() {
    let _ = Ohms::exact(1.0).is_at_most(Volts::exact(50.0));
}
