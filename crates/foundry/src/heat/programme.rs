//! A kiln programme: segments of ramp and hold.

use super::refusal::HeatRefusal;
use crate::quantity::{Celsius, Minutes, quantity};

quantity!(
    /// A rate of heating or cooling; its direction follows from the target.
    KelvinsPerHour, "a heating rate", "K/h", 0.0, 1.0e5
);

impl KelvinsPerHour {
    /// A rate given in Fahrenheit degrees an hour.
    pub fn from_fahrenheit_per_hour(rate: f64) -> Result<Self, HeatRefusal> {
        Ok(Self::new(rate / 1.8)?)
    }

    /// The rate in Fahrenheit degrees an hour.
    #[must_use]
    pub fn fahrenheit_per_hour(self) -> f64 {
        self.get() * 1.8
    }
}

/// How long a ramp takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pace {
    /// At a rate.
    Rate(KelvinsPerHour),
    /// In a time.
    Within(Minutes),
}

/// One segment of a programme.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Segment {
    /// The kiln moves evenly to a temperature.
    Ramp {
        /// The temperature at its end.
        to: Celsius,
        /// How fast.
        pace: Pace,
    },
    /// The kiln stays where it is.
    Hold {
        /// For how long.
        minutes: Minutes,
    },
}

impl Segment {
    /// A ramp at a rate, from °C and K/h.
    pub fn ramp(to_c: f64, rate_k_h: f64) -> Result<Self, HeatRefusal> {
        let pace = Pace::Rate(KelvinsPerHour::new(rate_k_h)?);
        Ok(Self::Ramp { to: Celsius::new(to_c)?, pace })
    }

    /// A ramp at a rate, from °F and °F/h.
    pub fn ramp_fahrenheit(to_f: f64, rate_f_h: f64) -> Result<Self, HeatRefusal> {
        let pace = Pace::Rate(KelvinsPerHour::from_fahrenheit_per_hour(rate_f_h)?);
        Ok(Self::Ramp { to: Celsius::from_fahrenheit(to_f)?, pace })
    }

    /// A hold, from minutes.
    pub fn hold(minutes: f64) -> Result<Self, HeatRefusal> {
        Ok(Self::Hold { minutes: Minutes::new(minutes)? })
    }
}

/// A corner of the programme's line: when, and how hot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Knot {
    /// Minutes from the start.
    pub minute: Minutes,
    /// Temperature asked for.
    pub temperature: Celsius,
}

/// The hottest temperature a programme may ask for, above any mould's firing.
pub const HOTTEST: Celsius = Celsius::of(1400.0);
/// The coldest: an unheated workshop in winter.
pub const COLDEST: Celsius = Celsius::of(-30.0);
/// The longest programme, in minutes: a week.
const LONGEST_MIN: f64 = 7.0 * 24.0 * 60.0;
/// The most segments a programme may have.
const MOST_SEGMENTS: usize = 64;

/// A programme that can be run: time runs forward and every temperature is one of a kiln.
///
/// # Units
/// °C and minutes inside; [`Segment`] also takes °F.
#[derive(Debug, Clone, PartialEq)]
pub struct Programme {
    segments: Vec<Segment>,
    knots: Vec<Knot>,
}

impl Programme {
    /// Makes a programme from its start temperature and its segments.
    ///
    /// # Refuses
    /// No segments or more than 64, a segment that takes no or negative time, a ramp at rate
    /// zero or to where the kiln already is, temperatures outside −30 to 1400 °C, more than a
    /// week in all.
    pub fn new(start: Celsius, segments: Vec<Segment>) -> Result<Self, HeatRefusal> {
        if segments.is_empty() {
            return Err(HeatRefusal::NoSegments);
        }
        if segments.len() > MOST_SEGMENTS {
            let given = segments.len();
            return Err(HeatRefusal::TooManySegments { given, most: MOST_SEGMENTS });
        }
        check_temperature(0, start)?;
        let mut knots = Vec::with_capacity(segments.len() + 1);
        knots.push(Knot { minute: Minutes::ZERO, temperature: start });
        let (mut minute, mut at) = (0.0, start);
        for (index, segment) in segments.iter().enumerate() {
            let number = index + 1;
            let takes = match *segment {
                Segment::Hold { minutes } => minutes.get(),
                Segment::Ramp { to, pace } => {
                    check_temperature(number, to)?;
                    if to == at {
                        return Err(HeatRefusal::RampGoesNowhere { segment: number, at: at.get() });
                    }
                    let takes = match pace {
                        Pace::Within(minutes) => minutes.get(),
                        Pace::Rate(rate) if rate.get() <= 0.0 => {
                            return Err(HeatRefusal::ZeroRate { segment: number });
                        }
                        Pace::Rate(rate) => (to - at).get().abs() / rate.get() * 60.0,
                    };
                    at = to;
                    takes
                }
            };
            if takes <= 0.0 {
                return Err(HeatRefusal::Backwards { segment: number, minutes: takes });
            }
            minute += takes;
            if minute > LONGEST_MIN {
                let (hours, most) = (minute / 60.0, LONGEST_MIN / 60.0);
                return Err(HeatRefusal::TooLong { hours, most });
            }
            knots.push(Knot { minute: Minutes::of(minute), temperature: at });
        }
        Ok(Self { segments, knots })
    }

    /// The temperature at which it starts.
    #[must_use]
    pub fn start(&self) -> Celsius {
        self.knots[0].temperature
    }

    /// Its segments, in order.
    #[must_use]
    pub fn segments(&self) -> &[Segment] {
        &self.segments
    }

    /// The corners of its line, one more than there are segments.
    #[must_use]
    pub fn knots(&self) -> &[Knot] {
        &self.knots
    }

    /// How long it takes when the kiln follows it.
    #[must_use]
    pub fn total(&self) -> Minutes {
        self.knots[self.knots.len() - 1].minute
    }

    /// The highest temperature it asks for.
    #[must_use]
    pub fn top(&self) -> Celsius {
        self.knots.iter().fold(self.start(), |top, knot| top.max(knot.temperature))
    }

    /// The temperature at its end, at which the flask is cast.
    #[must_use]
    pub fn end(&self) -> Celsius {
        self.knots[self.knots.len() - 1].temperature
    }

    /// The temperature asked for at a minute; before the start the first, after the end the last.
    #[must_use]
    pub fn temperature_at(&self, minute: Minutes) -> Celsius {
        let later = self.knots.partition_point(|knot| knot.minute <= minute);
        if later == 0 {
            return self.start();
        }
        let Some(next) = self.knots.get(later) else { return self.end() };
        let last = self.knots[later - 1];
        let part = (minute - last.minute) / (next.minute - last.minute);
        last.temperature + (next.temperature - last.temperature) * part
    }
}

fn check_temperature(segment: usize, given: Celsius) -> Result<(), HeatRefusal> {
    if given < COLDEST || given > HOTTEST {
        return Err(HeatRefusal::TemperatureOutOfRange {
            segment,
            given: given.get(),
            least: COLDEST.get(),
            greatest: HOTTEST.get(),
        });
    }
    Ok(())
}
