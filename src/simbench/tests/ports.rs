//! The ports that clients open.

use std::io::Read;
use std::net::TcpStream;
use std::time::{Duration, Instant};

use super::*;

#[test]
fn instruments_name_themselves_on_their_ports() {
    let bench = bench(1.0);
    let mut supply = Client::open(&bench.supply_port());
    let mut meter = Client::open(&bench.meter_port());
    assert_eq!(supply.ask("*IDN?"), "SKARVIK,SIMULATED-SUPPLY,0001,1.0");
    assert_eq!(meter.ask("*IDN?"), "SKARVIK,SIMULATED-METER,0001,1.0");
}

#[test]
fn a_port_can_be_closed_and_opened_again() {
    let bench = bench(1.0);
    for volts in ["1.000", "2.000", "3.000"] {
        let mut supply = Client::open(&bench.supply_port());
        supply.tell(&format!("VOLT {volts}"));
        drop(supply);
        assert_eq!(Client::open(&bench.supply_port()).ask("VOLT?"), volts);
    }
}

#[test]
fn a_line_may_come_in_pieces_and_end_in_either_way() {
    let bench = bench(1.0);
    let mut supply = Client::open(&bench.supply_port());
    for piece in ["VO", "LT 4", ".5\r\n\n", "VOLT", "?\r\n"] {
        supply.port.write_all(piece.as_bytes()).unwrap();
    }
    assert_eq!(supply.hear(), "4.500");
}

#[test]
fn an_endless_line_is_thrown_away_with_an_error() {
    let bench = bench(1.0);
    let mut supply = Client::open(&bench.supply_port());
    supply.port.write_all(&[b'x'; 1100]).unwrap();
    supply.tell("");
    supply.tell("*CLS");
    supply.port.write_all(&[b' '; 1025]).unwrap();
    assert_eq!(supply.ask("SYST:ERR?"), "-363,\"Input buffer overrun\"");
}

#[test]
fn lapsed_time_brings_a_long_reading_soon() {
    let bench = bench(1000.0);
    let mut meter = Client::open(&bench.meter_port());
    meter.tell("CURR:NPLC 100");
    let asked = Instant::now();
    let before = bench.look().time;
    assert!(meter.ask("READ?").parse::<f64>().is_ok());
    assert!(2.0 <= (bench.look().time - before).value);
    assert!(asked.elapsed() < Duration::from_secs(1));
}

#[test]
fn a_bench_moved_by_hand_answers_when_it_is_moved() {
    let bench = bench(0.0);
    let mut meter = Client::open(&bench.meter_port());
    assert_eq!(meter.ask("CURR:NPLC?"), "+1.000000E+01");
    meter.tell("READ?");
    while !bench.log().iter().any(|logged| logged.line == "READ?") {
        std::thread::yield_now();
    }
    bench.advance(seconds(0.2));
    assert!(meter.hear().parse::<f64>().is_ok());
    assert!((bench.look().time - seconds(0.2)).value.abs() < 1e-9);
}

#[test]
fn a_hang_up_is_seen_by_the_client_and_the_output_stays() {
    let bench = bench(1.0);
    let mut supply = Client::open(&bench.supply_port());
    supply.tell("VOLT:PROT 5;:CURR:PROT 1;:VOLT 1;:OUTP ON");
    assert_eq!(supply.ask("OUTP?"), "1");
    bench.inject(Fault::SupplyHangUp);
    let ended = supply.port.read(&mut [0; 16]);
    assert!(matches!(ended, Ok(0) | Err(_)), "{ended:?}");
    assert!(bench.look().output_on);
}

#[test]
fn what_is_written_to_a_port_that_is_not_read_waits_in_it() {
    let bench = bench(1.0);
    let mut supply = Client::open(&bench.supply_port());
    assert_eq!(supply.ask("VOLT?"), "0.000");
    bench.inject(Fault::ReadsNothing(Instrument::Supply));
    supply.tell("VOLT 2");
    supply.tell("VOLT?");
    bench.advance(seconds(10.0));
    assert!(bench.look().supply_set.value.abs() < f64::EPSILON);
    bench.mend();
    assert_eq!(supply.hear(), "2.000");
}

#[test]
fn a_scheduled_hang_up_comes_by_itself() {
    let bench = bench(100.0);
    let mut meter = Client::open(&bench.meter_port());
    bench.inject_at(bench.look().time + seconds(1.0), Fault::MeterHangUp);
    let ended = meter.port.read(&mut [0; 16]);
    assert!(matches!(ended, Ok(0) | Err(_)), "{ended:?}");
}

#[test]
fn a_replugged_instrument_comes_back_with_its_settings() {
    let mut bench = bench(1.0);
    let mut supply = Client::open(&bench.supply_port());
    supply.tell("VOLT 3");
    assert_eq!(supply.ask("VOLT?"), "3.000");
    bench.inject(Fault::SupplyHangUp);
    let port = bench.replug(Instrument::Supply).unwrap();
    assert_eq!(port, bench.supply_port());
    assert_eq!(Client::open(&port).ask("VOLT?"), "3.000");
}

#[test]
fn instruments_can_be_served_on_the_loopback_interface() {
    let options = BenchOptions { serve: Serve::Loopback, ..BenchOptions::default() };
    let bench = Bench::start(options).unwrap();
    for _ in 0..2 {
        let mut stream = TcpStream::connect(bench.meter_port()).unwrap();
        stream.write_all(b"*IDN?\n").unwrap();
        let mut reply = String::new();
        BufReader::new(stream).read_line(&mut reply).unwrap();
        assert_eq!(reply, "SKARVIK,SIMULATED-METER,0001,1.0\n");
    }
}

#[test]
fn the_log_holds_both_sides_in_order() {
    let bench = bench(1.0);
    let mut supply = Client::open(&bench.supply_port());
    supply.ask("VOLT?");
    let log: Vec<_> = bench.log().into_iter().map(|it| (it.speaker, it.line)).collect();
    let expected = [(Speaker::Client, "VOLT?"), (Speaker::Instrument, "0.000")];
    assert_eq!(log, expected.map(|(speaker, line)| (speaker, line.to_owned())));
}

#[test]
fn a_lapse_that_is_no_number_is_refused() {
    for lapse in [-1.0, f64::NAN, f64::INFINITY] {
        let refused = Bench::start(BenchOptions { lapse, ..BenchOptions::default() });
        assert!(matches!(refused, Err(BenchError::Lapse(_))));
    }
}
