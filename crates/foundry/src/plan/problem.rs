//! What is to be planned.

use super::decisions::{Decisions, Longer};

/// A planning problem. Times are whole minutes from midnight of day 0, a Monday.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Problem {
    /// The name of the problem, repeated in its plans.
    pub id: String,
    /// Every pour ends by this minute.
    pub horizon_min: i64,
    /// When staff are there.
    pub calendar: Calendar,
    /// Minutes of staff to load a kiln; the burnout begins after them.
    pub load_min: i64,
    /// Minutes of staff and furnace for one pour.
    pub pour_min: i64,
    /// Extra minutes of the furnace between two pours in a row of different alloys.
    pub alloy_change_min: i64,
    /// How long a load may wait at its final hold before its first pour.
    pub max_hold_min: i64,
    /// The longest time from the first to the last pour start of one load.
    pub max_pour_span_min: i64,
    /// How many kilns may be in a ramp at one time.
    pub ramp_limit: i64,
    /// Free space around flasks on a kiln's floor.
    pub clearance: Clearance,
    /// The kilns.
    pub kilns: Vec<Kiln>,
    /// Families of flasks that share burnout programmes.
    pub families: Vec<Family>,
    /// Pairs of families that may not share a load.
    pub incompatible: Vec<[String; 2]>,
    /// The flasks to be burnt out and poured.
    pub flasks: Vec<Flask>,
    /// What is settled before the planner begins; empty for the bare problem.
    pub decisions: Decisions,
}

/// When staff are there: the same every week, but for closed days and days of their own.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Calendar {
    /// The staffed intervals of Monday to Sunday, each in order and apart.
    pub week: [Vec<Staffed>; 7],
    /// Numbers of days on which nobody is there.
    pub closed_days: Vec<i64>,
    /// Days with other intervals than their week has, as when somebody is away.
    pub special_days: Vec<SpecialDay>,
}

/// A day with intervals of its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SpecialDay {
    /// The number of the day.
    pub day: i64,
    /// Its staffed intervals, in order and apart; none when nobody is there.
    pub hours: Vec<Staffed>,
}

impl Calendar {
    /// The staffed intervals of a day, by its number.
    #[must_use]
    pub fn on(&self, day: i64) -> &[Staffed] {
        if self.closed_days.contains(&day) {
            return &[];
        }
        match self.special_days.iter().find(|one| one.day == day) {
            Some(special) => &special.hours,
            None => &self.week[day.rem_euclid(7) as usize],
        }
    }
}

/// An interval of one day in which staff are there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Staffed {
    /// First minute of the day.
    pub from_min: i64,
    /// The minute of the day at which staff leave, at most 1440.
    pub to_min: i64,
}

/// Free space around flasks.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Clearance {
    /// Between two flasks.
    pub flask_mm: f64,
    /// Between a flask and a wall.
    pub wall_mm: f64,
    /// Above a flask.
    pub top_mm: f64,
}

/// A kiln.
#[derive(Debug, Clone, PartialEq)]
pub struct Kiln {
    /// Its name.
    pub id: String,
    /// Inner width of the floor.
    pub width_mm: f64,
    /// Inner depth of the floor.
    pub depth_mm: f64,
    /// Inner height.
    pub height_mm: f64,
    /// Minutes the kiln takes to cool by 100 °C between pours.
    pub cool_min_per_100c: i64,
    /// Minutes from the end of a load's last pour to the start of the next load.
    pub turnaround_min: i64,
    /// No load starts before this minute.
    pub available_min: i64,
}

/// A family of flasks: what burns out alike.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Family {
    /// Its name.
    pub id: String,
    /// The programme for each size class.
    pub programmes: Vec<SizeProgramme>,
}

/// The programme of a family for one size class.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SizeProgramme {
    /// The size class, such as `S`.
    pub size_class: String,
    /// The segments, in order.
    pub programme: Programme,
}

/// A burnout programme as the planner sees it: how long, and when it draws ramp power.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Programme {
    /// The segments, in order.
    pub segments: Vec<Segment>,
}

/// A part of a programme.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Segment {
    /// Ramp or hold.
    pub kind: SegmentKind,
    /// How long it lasts.
    pub minutes: i64,
}

/// What a kiln does during a segment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SegmentKind {
    /// Heats to another temperature; at most `ramp_limit` kilns do so at one time.
    Ramp,
    /// Stays at a temperature.
    Hold,
}

/// A flask to be burnt out and poured.
#[derive(Debug, Clone, PartialEq)]
pub struct Flask {
    /// Its name.
    pub id: String,
    /// Outer diameter.
    pub diameter_mm: f64,
    /// Outer height.
    pub height_mm: f64,
    /// The size class that selects the programme within the family.
    pub size_class: String,
    /// The family.
    pub family: String,
    /// Its load starts no earlier.
    pub ready_min: i64,
    /// Its load starts no later (investment that dries out, for instance).
    pub latest_start_min: Option<i64>,
    /// Temperature of the flask when it is poured.
    pub cast_temp_c: i64,
    /// The alloy poured into it.
    pub alloy: String,
    /// Minutes of work after the pour until the order is ready.
    pub lead_min: i64,
    /// When the order should be ready.
    pub due_min: i64,
    /// What a minute of delay weighs.
    pub weight: i64,
}

impl Programme {
    /// How long the programme runs.
    #[must_use]
    pub fn minutes(&self) -> i64 {
        self.segments.iter().map(|segment| segment.minutes).sum()
    }
}

impl Family {
    /// The programme for a size class.
    #[must_use]
    pub fn programme(&self, size_class: &str) -> Option<&Programme> {
        self.programmes.iter().find(|one| one.size_class == size_class).map(|one| &one.programme)
    }
}

impl Problem {
    /// The flask of this name.
    #[must_use]
    pub fn flask(&self, id: &str) -> Option<&Flask> {
        self.flasks.iter().find(|flask| flask.id == id)
    }

    /// The programme of a family for a size class as a kiln runs it.
    #[must_use]
    pub fn programme_in(&self, kiln: &str, family: &str, size_class: &str) -> Option<Programme> {
        let mut programme = self.family(family)?.programme(size_class)?.clone();
        let minutes = self.longer_min(kiln, family, size_class);
        if minutes > 0 {
            let ramp = |segment: &&mut Segment| segment.kind == SegmentKind::Ramp;
            match programme.segments.iter_mut().rev().find(ramp) {
                Some(last) => last.minutes += minutes,
                None => programme.segments.push(Segment { kind: SegmentKind::Hold, minutes }),
            }
        }
        Some(programme)
    }

    /// By how many minutes a programme takes longer in a kiln than it says.
    #[must_use]
    pub fn longer_min(&self, kiln: &str, family: &str, size_class: &str) -> i64 {
        let meant = |one: &&Longer| {
            (one.kiln.as_str(), one.family.as_str(), one.size_class.as_str())
                == (kiln, family, size_class)
        };
        self.decisions.longer.iter().find(meant).map_or(0, |one| one.minutes)
    }

    /// The kiln of this name.
    #[must_use]
    pub fn kiln(&self, id: &str) -> Option<&Kiln> {
        self.kilns.iter().find(|kiln| kiln.id == id)
    }

    /// The family of this name.
    #[must_use]
    pub fn family(&self, id: &str) -> Option<&Family> {
        self.families.iter().find(|family| family.id == id)
    }
}
