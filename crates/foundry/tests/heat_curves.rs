//! Logs of controllers: read, held against the plan, and used to fit the kiln.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use foundry::heat::curve::{
    Comparison, CurveRefusal, Deviation, MeasuredCurve, MeasuredPoint, ReadCurve, ReadNote,
    ReadOptions, Role, Scale, TimeForm, columns, compare, fit_kiln, read,
};
use foundry::heat::{
    Behind, FlaskBody, Grid, GypsumMix, HeatRefusal, Kiln, PoweredKiln, Programme, Segment,
    simulate,
};
use foundry::quantity::{Celsius, Millimetres, Minutes};
use proptest::prelude::*;

fn reads(text: &str) -> ReadCurve {
    read(text, &ReadOptions::default()).unwrap()
}

fn points(curve: &ReadCurve) -> Vec<(f64, f64)> {
    curve
        .curve
        .points()
        .iter()
        .map(|point| (point.minute.get(), (point.kiln.get() * 100.0).round() / 100.0))
        .collect()
}

const EXPECTED: [(f64, f64); 4] = [(0.0, 21.5), (1.0, 24.0), (2.0, 26.5), (3.0, 1029.25)];

#[test]
fn any_delimiter_decimal_sign_and_clock_gives_the_same_curve() {
    let texts = [
        "Time,Kiln °C,Set °C\n08:00:00,21.5,22\n08:01:00,24.0,24.5\n08:02:00,26.5,27\n08:03:00,1029.25,1030\n",
        "Zeit;Kiln °C\r\n08:00;21,5\r\n08:01;24,0\r\n08:02;26,5\r\n08:03;1029,25\r\n",
        "minutes\ttemp (C)\n0\t21.5\n1\t24\n2\t26.5\n3\t1029.25\n",
        "\u{feff}Date|Time|Temp C\n2026-03-01|23:58|21.5\n2026-03-01|23:59|24.0\n2026-03-02|00:00|26.5\n2026-03-02|00:01|1029.25\n",
        "# logger\n# kiln 1\n\nseconds;\"kiln; °C\"\n0;\"21,5\"\n60;24,0\n120;26,5\n180;1.029,25\n",
        "time            temp\n2026-03-01 10:00:00  21.5C\n2026-03-01 10:01:00  24.0C\n2026-03-01 10:02:00  26.5C\n2026-03-01 10:03:00  1029.25C\n",
        "stamp,kiln (°F)\n2026-03-01T10:00:00Z,70.7\n2026-03-01T10:01:00Z,75.2\n2026-03-01T10:02:00Z,79.7\n2026-03-01T10:03:00Z,1884.65\n",
        "t,°C\n11:58 PM,21.5\n11:59 PM,24.0\n12:00 AM,26.5\n12:01 AM,1029.25\n",
        "hours,actual °C\n0,21.5\n0.0166666666667,24\n0.0333333333333,26.5\n0.05,1029.25\n",
    ];
    for text in texts {
        let found = reads(text);
        let found: Vec<(f64, f64)> =
            points(&found).iter().map(|(m, t)| ((m * 1000.0).round() / 1000.0, *t)).collect();
        assert_eq!(found, EXPECTED, "{text}");
    }
}

#[test]
fn columns_are_found_by_their_headings_and_can_be_chosen() {
    let text = "No,Elapsed min,Target °C,Power %,Kiln °C,Room °C\n\
                1,0,22,0,21,20\n2,5,40,80,37,20\n3,10,60,90,55,20\n";
    let found = reads(text);
    let role = |role| found.columns.iter().find(|column| column.role == role).map(|c| c.index);
    assert_eq!(role(Role::Time), Some(1));
    assert_eq!(role(Role::SetPoint), Some(2));
    assert_eq!(role(Role::Kiln), Some(4));
    assert_eq!(found.time_form, TimeForm::Minutes);
    assert_eq!(found.curve.points()[1].asked, Some(Celsius::of(40.0)));
    assert!(found.notes.is_empty(), "{:?}", found.notes);

    let chosen = ReadOptions {
        kiln_column: Some(5),
        time_column: Some(0),
        time_form: Some(TimeForm::Hours),
        ..ReadOptions::default()
    };
    let found = read(text, &chosen).unwrap();
    assert_eq!(points(&found), [(0.0, 20.0), (60.0, 20.0), (120.0, 20.0)]);
    let nowhere = ReadOptions { kiln_column: Some(9), ..ReadOptions::default() };
    assert_eq!(
        read(text, &nowhere).unwrap_err(),
        CurveRefusal::NoSuchColumn { column: 10, columns: 6 }
    );
}

/// Both columns move alike; only their headings tell them apart. Words of the trade in several
/// languages (common practice, no source).
#[test]
fn the_set_point_is_not_taken_for_what_was_measured() {
    let headings = [
        ("Soll °C", "Ist °C"),
        ("Sollwert", "Istwert"),
        ("Solltemperatur [°C]", "Ofentemperatur Ist [°C]"),
        ("T_soll", "T_ist"),
        ("Consigne (°C)", "Mesure (°C)"),
        ("Température consigne", "Température four"),
        ("Setpoint", "Actual"),
        ("Set Point °C", "Temperature °C"),
        ("SP", "PV"),
        ("Zone 1 SP", "Zone 1 PV"),
        ("Target", "Kiln"),
        ("Temp asked", "Temp measured"),
        ("Programm", "Ofen"),
        ("Consigna", "Medida"),
        ("Impostata", "Misurata"),
        ("Ziel °C", "°C"),
    ];
    for (set, ist) in headings {
        for swapped in [false, true] {
            let (a, b) = if swapped { (ist, set) } else { (set, ist) };
            let text = format!(
                "Datum;Zeit;{a};{b};Leistung %\n\
                 24.11.2026;19:00;100;101;0\n24.11.2026;19:10;200;201;90\n24.11.2026;19:20;300;301;100\n"
            );
            let found = reads(&text);
            let at = |role| found.columns.iter().find(|c| c.role == role).map(|c| c.index);
            let (set_at, ist_at) = if swapped { (3, 2) } else { (2, 3) };
            assert_eq!(
                (at(Role::SetPoint), at(Role::Kiln)),
                (Some(set_at), Some(ist_at)),
                "{text}"
            );
        }
    }
    // The number of the programme is no set point while another column is.
    let text = "min;Programme;Set;Kiln\n0;3;100;99\n10;3;200;190\n20;3;300;290\n";
    let role = |index: usize| reads(text).columns[index].role;
    assert_eq!((role(1), role(2), role(3)), (Role::Other, Role::SetPoint, Role::Kiln));
}

#[test]
fn of_two_columns_that_nothing_tells_apart_it_is_asked_which() {
    let which = |columns: Vec<usize>| Err(CurveRefusal::WhichTemperature { columns });
    let rows = "0;30;29\n10;200;190\n20;300;290\n";
    assert_eq!(read(rows, &ReadOptions::default()), which(vec![2, 3]));
    let headed = format!("min;Temp 1;Temp 2\n{rows}");
    assert_eq!(read(&headed, &ReadOptions::default()), which(vec![2, 3]));
    let said = read(rows, &ReadOptions::default()).unwrap_err().to_string();
    assert!(said.contains("columns 2 and 3") && said.contains("choose"), "{said}");
    // They can be listed to choose from, and either choice settles it.
    let listed = columns(&headed, &ReadOptions::default()).unwrap();
    assert_eq!(listed[2].heading.as_deref(), Some("Temp 2"));
    let kiln = ReadOptions { kiln_column: Some(2), ..ReadOptions::default() };
    assert_eq!(points(&read(&headed, &kiln).unwrap())[1], (10.0, 190.0));
    let set = ReadOptions { set_point_column: Some(1), ..ReadOptions::default() };
    assert_eq!(points(&read(&headed, &set).unwrap())[1], (10.0, 190.0));
    // One that hardly moves, or is named as something else, is no candidate.
    assert!(read("0;100;21\n10;200;22\n20;300;22\n", &ReadOptions::default()).is_ok());
    let power = format!("min;Temp;Power\n{rows}");
    assert_eq!(points(&reads(&power))[1], (10.0, 200.0));
}

#[test]
fn what_is_guessed_is_said() {
    let fahrenheit = reads("0,72\n60,90\n120,130\n180,1350\n");
    assert_eq!(fahrenheit.scale, Scale::Fahrenheit);
    assert!(fahrenheit.notes.contains(&ReadNote::ScaleGuessed(Scale::Fahrenheit)));
    assert!(fahrenheit.notes.iter().any(|note| matches!(note, ReadNote::TimeUnitGuessed(_))));
    let celsius = reads("0;21\n60;90\n120;130\n");
    assert_eq!(celsius.scale, Scale::Celsius);
    for note in fahrenheit.notes.iter().chain(&celsius.notes) {
        assert!(note.to_string().contains("named"));
    }
}

#[test]
fn day_and_month_in_either_order_are_told_apart() {
    // 3 April to 4 April, whether the day or the month stands first.
    for (a, b) in
        [("03/04/2026", "04/04/2026"), ("04/03/2026", "04/04/2026"), ("30.4.26", "1.5.26")]
    {
        let found = reads(&format!("when,°C\n{a} 23:50,20\n{a} 23:55,30\n{b} 00:05,50\n"));
        assert_eq!(points(&found), [(0.0, 20.0), (5.0, 30.0), (15.0, 50.0)], "{a}");
    }
    // A leap day exists only in its year.
    let leap = reads("when,°C\n2028-02-28 23:59,20\n2028-02-29 00:00,21\n2028-03-01 00:00,22\n");
    assert_eq!(leap.curve.duration(), Minutes::of(1441.0));
    let none = reads("when,°C\n2027-02-28 23:59,20\n2027-02-29 00:00,21\n2027-03-01 00:00,22\n");
    assert!(none.notes.contains(&ReadNote::RowsLeftOut { count: 1, first_line: 3 }));
}

#[test]
fn gaps_bad_rows_and_repeated_moments_are_named() {
    let text = "time,°C\n10:00,20\n10:01,22\n10:02,---\n10:03,26\n10:03,27\n10:04,2900\n10:05,30\n10:45,90\n10:46,92\n";
    let found = reads(text);
    assert_eq!(
        points(&found),
        [(0.0, 20.0), (1.0, 22.0), (3.0, 27.0), (5.0, 30.0), (45.0, 90.0), (46.0, 92.0)]
    );
    assert!(found.notes.contains(&ReadNote::RowsLeftOut { count: 2, first_line: 4 }));
    assert!(found.notes.contains(&ReadNote::SameMoment { count: 1 }));
    assert!(
        found.notes.contains(&ReadNote::Gap { from: Minutes::of(5.0), minutes: Minutes::of(40.0) })
    );
}

/// A log of a clock, a reading a minute, with a jump of the clock in the middle.
fn with_jump(jump_min: i64) -> String {
    let mut text = String::from("time,kiln °C\n");
    for minute in 0..120_i64 {
        let clock = 60 + minute + if minute >= 60 { jump_min } else { 0 };
        text += &format!("{:02}:{:02},{}\n", clock / 60, clock % 60, 100 + minute);
    }
    text
}

#[test]
fn an_hour_of_the_clock_is_named() {
    let back = reads(&with_jump(-60));
    assert_eq!(back.curve.duration(), Minutes::of(119.0));
    assert!(back.notes.contains(&ReadNote::ClockPutBack { at: Minutes::of(59.0) }));
    let forward = reads(&with_jump(60));
    assert_eq!(forward.curve.duration(), Minutes::of(179.0));
    assert!(forward.notes.contains(&ReadNote::HourMissing { at: Minutes::of(59.0) }));
    let steady = reads(&with_jump(0));
    assert!(steady.notes.is_empty());
    assert!(matches!(
        read(&with_jump(-30), &ReadOptions::default()),
        Err(CurveRefusal::TimeRunsBack { line: 62 })
    ));
}

#[test]
fn what_is_no_log_is_refused() {
    let of = |text: &str| read(text, &ReadOptions::default()).unwrap_err();
    assert_eq!(of(""), CurveRefusal::NoTable);
    assert_eq!(of("one\ntwo\nthree\n"), CurveRefusal::NoTable);
    assert_eq!(of("a,b\nx,y\nu,v\n"), CurveRefusal::NoTime);
    assert!(matches!(
        of("time,note\n10:00,on\n10:01,off\n"),
        CurveRefusal::NoTemperature | CurveRefusal::NoTime
    ));
    assert_eq!(of("time,°C\n10:00,20\n"), CurveRefusal::TooFewPoints { found: 1 });
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in "[ -~°\\n\\t;,]{0,400}") {
        if let Ok(found) = read(&text, &ReadOptions::default()) {
            let points = found.curve.points();
            prop_assert!(points.windows(2).all(|pair| pair[0].minute < pair[1].minute));
        }
    }

    #[test]
    fn a_written_curve_is_read_back(
        temperatures in prop::collection::vec(0.0..1000.0_f64, 3..50),
        step in 1_u32..5,
    ) {
        let mut text = String::from("minutes;kiln °C\n");
        for (n, t) in temperatures.iter().enumerate() {
            text += &format!("{};{}\n", n as u32 * step, format!("{t:.2}").replace('.', ","));
        }
        let found = reads(&text);
        prop_assert_eq!(found.curve.points().len(), temperatures.len());
        for (point, t) in found.curve.points().iter().zip(&temperatures) {
            prop_assert!((point.kiln.get() - t).abs() < 0.006);
        }
    }
}

/// 2 h at 149 °C, 1 h at 371, 2 h at 732, cast at 538 after 1 h.
fn programme() -> Programme {
    let segments = [
        Segment::ramp(149.0, 150.0),
        Segment::hold(120.0),
        Segment::ramp(371.0, 150.0),
        Segment::hold(60.0),
        Segment::ramp(732.0, 150.0),
        Segment::hold(120.0),
        Segment::ramp(538.0, 80.0),
        Segment::hold(60.0),
    ];
    Programme::new(Celsius::of(22.0), segments.into_iter().collect::<Result<_, _>>().unwrap())
        .unwrap()
}

/// The programme as a log of a reading a minute, changed by `change(minute, °C)`.
fn log(lead_min: f64, change: impl Fn(f64, f64) -> f64) -> MeasuredCurve {
    let programme = programme();
    let count = (programme.total().get() + lead_min) as usize;
    let points = (0..=count)
        .map(|n| {
            let minute = n as f64;
            let planned = programme.temperature_at(Minutes::of(minute - lead_min)).get();
            MeasuredPoint {
                minute: Minutes::of(minute),
                kiln: Celsius::of(change(minute - lead_min, planned)),
                asked: None,
            }
        })
        .collect();
    MeasuredCurve::new(points).unwrap()
}

fn held_against(curve: &MeasuredCurve) -> Comparison {
    compare(curve, &programme(), None).unwrap()
}

#[test]
fn a_firing_that_follows_its_programme_shows_nothing() {
    let comparison = held_against(&log(0.0, |_, t| t));
    assert!(comparison.events.is_empty(), "{:?}", comparison.events);
    assert!(comparison.typical.get() < 0.01);
    assert!(comparison.starts_at.get().abs() <= 1.0);
}

#[test]
fn a_log_of_the_set_point_is_seen_to_be_one() {
    assert!(held_against(&log(0.0, |_, t| t)).looks_like_set_point());
    // A thermocouple swings about its programme.
    let swings = log(0.0, |minute, t| t + 1.5 * (minute / 3.0).sin());
    assert!(!held_against(&swings).looks_like_set_point());
    // Nor is it the set point where the door was opened once, for a moment.
    let opened = log(0.0, |minute, t| if (400.0..401.0).contains(&minute) { t - 6.0 } else { t });
    assert!(!held_against(&opened).looks_like_set_point());
}

#[test]
fn the_start_of_the_programme_is_found_in_the_log() {
    let comparison = held_against(&log(47.0, |_, t| t));
    assert!((comparison.starts_at.get() - 47.0).abs() <= 1.0, "{:?}", comparison.starts_at);
    assert!(comparison.events.is_empty(), "{:?}", comparison.events);
}

#[test]
fn an_overshoot_is_found_with_its_size() {
    // 18 K over after the first ramp, falling away in a quarter of an hour.
    let start = programme().knots()[1].minute.get();
    let curve =
        log(
            0.0,
            |minute, t| {
                if minute >= start { t + 18.0 * (-(minute - start) / 15.0).exp() } else { t }
            },
        );
    let events = held_against(&curve).events;
    assert_eq!(events.len(), 1, "{events:?}");
    assert!(
        matches!(events[0].what, Deviation::Overshoot { segment: 2, most } if (most.get() - 18.0).abs() < 1.5)
    );
}

#[test]
fn a_stalled_ramp_is_found_with_its_rates() {
    // Above 600 °C the kiln only makes 60 K/h; the last ramp up ends behind.
    let ramp = programme().knots()[4];
    let at_600 = ramp.minute.get() + (600.0 - 371.0) / 150.0 * 60.0;
    let curve =
        log(0.0, |minute, t| if minute > at_600 { t.min(600.0 + (minute - at_600)) } else { t });
    let events = held_against(&curve).events;
    let stalled = events.iter().find_map(|event| match event.what {
        Deviation::StalledRamp { segment, behind, asked_k_h, measured_k_h } => {
            Some((segment, behind.get(), asked_k_h, measured_k_h))
        }
        _ => None,
    });
    let (segment, behind, asked, measured) = stalled.unwrap();
    assert_eq!(segment, 5);
    // 132 K at 150 K/h take 52.8 min, in which 60 K/h make 52.8 K.
    assert!((behind - 79.2).abs() < 3.0, "{behind}");
    assert!((asked - 150.0).abs() < 1.0 && (measured - 60.0).abs() < 2.0);
    assert!(events.iter().any(|e| matches!(e.what, Deviation::HoldShort { segment: 6, .. })));
}

#[test]
fn an_opened_door_is_found_once_with_its_fall() {
    let curve = log(0.0, |minute, t| {
        let since = minute - 600.0;
        if since >= 0.0 { t - 120.0 * (-since / 20.0).exp() } else { t }
    });
    let events = held_against(&curve).events;
    let doors: Vec<_> = events
        .iter()
        .filter_map(|event| match &event.what {
            Deviation::DoorOpened { drop, back_after } => {
                Some((event.minute.get(), drop.get(), *back_after))
            }
            _ => None,
        })
        .collect();
    assert_eq!(doors.len(), 1, "{events:?}");
    assert!((doors[0].0 - 599.0).abs() <= 5.0 && (doors[0].1 - 120.0).abs() < 10.0);
    assert!(doors[0].2.is_some());
    // Cooling as planned is no door.
    assert!(
        held_against(&log(0.0, |_, t| t - 3.0))
            .events
            .iter()
            .all(|event| { !matches!(event.what, Deviation::DoorOpened { .. }) })
    );
}

#[test]
fn a_log_that_ends_early_says_so() {
    let whole = log(0.0, |_, t| t);
    let half = MeasuredCurve::new(whole.points()[..400].to_vec()).unwrap();
    let comparison = compare(&half, &programme(), Some(Minutes::ZERO)).unwrap();
    let missing = programme().total().get() - 399.0;
    assert!(matches!(
        comparison.events.last().unwrap().what,
        Deviation::EndsEarly { missing: found } if (found.get() - missing).abs() < 1.5
    ));
    let far = Some(Minutes::of(100_000.0));
    assert!(matches!(compare(&half, &programme(), far), Err(HeatRefusal::OutOfRange { .. })));
}

fn flask() -> FlaskBody {
    let inches = |n| Millimetres::from_inches(n).unwrap();
    FlaskBody::gypsum_bonded(inches(3.5), inches(4.0), GypsumMix::default()).unwrap().0
}

fn kiln(behind: Behind) -> PoweredKiln {
    PoweredKiln {
        power_w: 2400.0,
        loss_w_k: 1.6,
        lining_j_k: 25_000.0,
        furniture_j_k: 3_000.0,
        top: Celsius::of(1100.0),
        room: Celsius::of(22.0),
        behind,
    }
}

/// A firing in a kiln as it really is, logged once a minute with an error of up to a kelvin from a
/// fixed seed.
fn logged(real: PoweredKiln, programme: &Programme, flasks: u32) -> MeasuredCurve {
    let powered = Kiln::Powered { kiln: real, flasks };
    let grid = Grid { sample: Minutes::of(1.0), ..Grid::default() };
    let run = simulate(&flask(), programme, &powered, &grid).unwrap();
    let mut seed = 20_240_229_u64;
    let points = run
        .samples
        .iter()
        .map(|sample| {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let noise = (seed >> 11) as f64 / (1_u64 << 53) as f64 * 2.0 - 1.0;
            MeasuredPoint {
                minute: sample.minute,
                kiln: Celsius::of(sample.kiln.get() + noise),
                asked: None,
            }
        })
        .collect();
    MeasuredCurve::new(points).unwrap()
}

/// Steep enough that the kiln falls behind, and a free fall at the end.
fn telling() -> Programme {
    let segments = [
        Segment::ramp(149.0, 150.0),
        Segment::hold(60.0),
        Segment::ramp(732.0, 600.0),
        Segment::hold(60.0),
        Segment::ramp(450.0, 400.0),
        Segment::hold(30.0),
    ];
    Programme::new(Celsius::of(22.0), segments.into_iter().collect::<Result<_, _>>().unwrap())
        .unwrap()
}

#[test]
fn the_fit_finds_the_power_and_loss_a_firing_was_made_with() {
    for behind in [Behind::Waits, Behind::RunsOn] {
        for (power, loss) in [(0.85, 1.25), (1.1, 0.8), (0.95, 1.4)] {
            let given = kiln(behind);
            let real = PoweredKiln {
                power_w: given.power_w * power,
                loss_w_k: given.loss_w_k * loss,
                ..given
            };
            let curve = logged(real, &telling(), 6);
            let fit = fit_kiln(&curve, &telling(), &flask(), &given, 6, Some(Minutes::ZERO))
                .unwrap()
                .value;
            assert!((fit.power_scale / power - 1.0).abs() < 0.02, "{behind:?}: {fit:?}");
            assert!((fit.loss_scale / loss - 1.0).abs() < 0.04, "{behind:?}: {fit:?}");
            assert!(fit.error_before.get() > 5.0, "{fit:?}");
            assert!(fit.error_after.get() < 2.5, "{fit:?}");
        }
    }
}

#[test]
fn a_firing_that_says_nothing_of_the_kiln_is_refused() {
    // Slow enough to be followed all the way, and never falling.
    let slow = Programme::new(
        Celsius::of(22.0),
        vec![Segment::ramp(400.0, 60.0).unwrap(), Segment::hold(60.0).unwrap()],
    )
    .unwrap();
    let curve = logged(kiln(Behind::Waits), &slow, 2);
    let fit = fit_kiln(&curve, &slow, &flask(), &kiln(Behind::Waits), 2, Some(Minutes::ZERO));
    assert!(matches!(fit, Err(HeatRefusal::FiringSaysNothing { .. })), "{fit:?}");
}
