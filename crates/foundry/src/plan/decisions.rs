//! What has been decided before the planner begins, and what is known beyond the bare problem.

/// What is settled before the planner begins. The default settles nothing.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Decisions {
    /// Nothing new begins before this minute: the time of planning.
    pub not_before_min: i64,
    /// Choices the planner must keep.
    pub pins: Vec<Pin>,
    /// Loads already in a kiln.
    pub under_way: Vec<UnderWay>,
    /// Times at which a kiln cannot be used.
    pub out_of_use: Vec<OutOfUse>,
    /// Kilns a flask may not go into.
    pub bans: Vec<Ban>,
    /// How much moving away from an accepted plan costs.
    pub stability: Option<Stability>,
    /// Hours of the week in which heating is dear.
    pub dear_hours: Vec<DearHours>,
    /// Flasks that may start later than their latest start if they are wetted again.
    pub rewet: Vec<Rewet>,
    /// Programmes that take longer in a kiln than they say.
    pub longer: Vec<Longer>,
}

/// A programme that takes longer in a kiln than it says, because the kiln cannot follow it.
///
/// A load that runs it there ends by so much later, and its kiln stays so much longer in the last
/// ramp: a controller that waits for its kiln stretches a ramp. Which of several ramps it is does
/// not matter to the end; for the limit of ramps and for dear hours the last one stands for all.
/// Without a ramp the minutes follow the programme as a hold. Which of a load's members gives it
/// its programme goes by the minutes of the programmes alone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Longer {
    /// The kiln.
    pub kiln: String,
    /// The family
    pub family: String,
    /// and the size class whose programme it is.
    pub size_class: String,
    /// By so many minutes.
    pub minutes: i64,
}

/// Hours in which heating is dear, as under a tariff by time of use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DearHours {
    /// From this minute of the week, which begins on Monday,
    pub from_min: i64,
    /// up to and without this minute of the week.
    pub to_min: i64,
    /// An hour of ramp in them counts like so many weighted minutes of tardiness.
    pub minutes_per_hour: i64,
}

/// A flask whose investment has dried by its latest start, and may be wetted again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rewet {
    /// The flask.
    pub flask: String,
    /// Its load starts no later even then.
    pub until_min: i64,
    /// A later start counts like so many weighted minutes of tardiness.
    pub minutes: i64,
}

/// A choice the planner must keep.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Pin {
    /// The flask goes into the load of this kiln that starts at this minute.
    Load {
        /// The flask.
        flask: String,
        /// The kiln.
        kiln: String,
        /// When the load starts.
        start_min: i64,
    },
    /// Two flasks go into the same load.
    Together {
        /// One flask.
        flask: String,
        /// The other.
        with: String,
    },
}

/// A load that is in a kiln already. Its start, kiln and members are past
/// choosing: only what is left to pour is planned, as soon as it can be, and
/// rules about the start and the hold are not asked of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnderWay {
    /// The kiln.
    pub kiln: String,
    /// When the load was started.
    pub start_min: i64,
    /// All members.
    pub flasks: Vec<String>,
    /// Those of the members that have been poured.
    pub poured: Vec<Poured>,
}

/// A pour that has happened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Poured {
    /// The flask.
    pub flask: String,
    /// When its pour started.
    pub start_min: i64,
}

/// A time at which a kiln holds no load: from the start of a load to the end of its last pour.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutOfUse {
    /// The kiln.
    pub kiln: String,
    /// From this minute,
    pub from_min: i64,
    /// up to and without this minute.
    pub to_min: i64,
}

/// A kiln a flask may not go into.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ban {
    /// The flask; every flask when absent.
    pub flask: Option<String>,
    /// The kiln.
    pub kiln: String,
    /// Only loads starting before this minute are forbidden; all loads when absent.
    pub until_min: Option<i64>,
}

/// How much moving away from an accepted plan costs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stability {
    /// Where the flasks stand in the accepted plan.
    pub accepted: Vec<Accepted>,
    /// Weighted minutes of tardiness it must save to move one flask to another
    /// kiln or start.
    pub minutes_per_move: i64,
}

/// The accepted place of a flask.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Accepted {
    /// The flask.
    pub flask: String,
    /// The kiln of its load.
    pub kiln: String,
    /// The start of its load.
    pub start_min: i64,
}
