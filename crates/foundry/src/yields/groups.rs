//! Whether the measurements of one group differ from those of the others by more than chance.

use std::collections::BTreeMap;

use crate::source::Source;
use crate::working::{Figure, Worked, Working};

use super::YieldRefusal;

/// A measurement: whose it is, and of what kind the thing was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroupValue {
    /// What was measured.
    pub value: f64,
    /// The group it belongs to, such as a person.
    pub group: usize,
    /// Only values of one kind are held against each other, such as losses of one alloy.
    pub kind: usize,
}

/// The mean of a group beside what all groups had of the same kinds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroupMean {
    /// Its values of kinds that others have too.
    pub count: usize,
    /// Their mean.
    pub mean: f64,
    /// The mean that all groups together had of the same kinds, each as often as this one has it.
    pub expected: f64,
    /// Below this is less than chance explains.
    pub lower: f64,
    /// Above this is more than chance explains.
    pub upper: f64,
}

impl GroupMean {
    /// Whether the mean lies beyond a limit.
    #[must_use]
    pub fn outside(&self) -> bool {
        self.mean < self.lower || self.mean > self.upper
    }
}

/// Fewer values of a group than this, or of the others, give no limits.
pub const LEAST_OF_GROUP: usize = 5;
/// Of fewer values that repeat another of their group and kind no scatter is told.
const LEAST_REPEATED: usize = 4;
/// Fewer values than this give limits with a warning.
const FEW_VALUES: usize = 20;

/// The sums of what a kind has.
#[derive(Default)]
struct Kind {
    own: (usize, f64),
    all: (usize, f64),
}

/// The mean of a group with three-sigma limits around what is expected of it.
///
/// # Units
/// Any; limits are in the unit of the values, which is only printed.
///
/// # Source
/// Analysis of means: E. R. Ott, Industrial Quality Control 24 (1967) 101 (from memory). With one
/// kind the limits are mean ± 3·s·√((N − n)/(N·n)), where s² is the mean square within the groups
/// and 3 stands in place of Ott's factor, as on every control chart here. With several kinds each
/// value is held against the mean of its kind; a kind with n_k of N_k values leaves
/// n_k·(1 − n_k/N_k) of the variance of their sum.
///
/// # Refuses
/// Fewer than five values of the group, or of others of the same kinds; too few that repeat
/// another of their group and kind; a value that is not finite.
pub fn group_mean(
    values: &[GroupValue],
    group: usize,
    unit: &'static str,
) -> Result<Worked<GroupMean>, YieldRefusal> {
    if let Some(at) = values.iter().position(|each| !each.value.is_finite()) {
        return Err(YieldRefusal::NotFinite { at: at + 1 });
    }
    let mut kinds: BTreeMap<usize, Kind> = BTreeMap::new();
    let mut cells: BTreeMap<(usize, usize), (usize, f64)> = BTreeMap::new();
    for each in values {
        let add = |sums: &mut (usize, f64)| *sums = (sums.0 + 1, sums.1 + each.value);
        let kind = kinds.entry(each.kind).or_default();
        add(&mut kind.all);
        if each.group == group {
            add(&mut kind.own);
        }
        add(cells.entry((each.kind, each.group)).or_default());
    }
    // A kind that this group alone has, or others alone, says nothing of the two.
    kinds.retain(|_, kind| kind.own.0 > 0 && kind.own.0 < kind.all.0);
    let count: usize = kinds.values().map(|kind| kind.own.0).sum();
    let all: usize = kinds.values().map(|kind| kind.all.0).sum();
    if count < LEAST_OF_GROUP || all - count < LEAST_OF_GROUP {
        return Err(YieldRefusal::TooFewAlike { own: count, others: all - count });
    }
    let alike = || values.iter().filter(|each| kinds.contains_key(&each.kind));
    let squares: f64 = alike()
        .filter_map(|each| {
            let (n, sum) = cells.get(&(each.kind, each.group))?;
            Some((each.value - sum / *n as f64).powi(2))
        })
        .sum();
    let means = cells.keys().filter(|(kind, _)| kinds.contains_key(kind)).count();
    let repeated = all - means;
    if repeated < LEAST_REPEATED {
        return Err(YieldRefusal::TooFewRepeated { repeated, least: LEAST_REPEATED });
    }
    let scatter = (squares / repeated as f64).sqrt();
    let own = count as f64;
    let mean = kinds.values().map(|kind| kind.own.1).sum::<f64>() / own;
    let each = kinds.values().map(|kind| kind.own.0 as f64 * kind.all.1 / kind.all.0 as f64);
    let expected = each.sum::<f64>() / own;
    let free: f64 = kinds
        .values()
        .map(|kind| kind.own.0 as f64 * (1.0 - kind.own.0 as f64 / kind.all.0 as f64))
        .sum();
    let reach = 3.0 * scatter * free.sqrt() / own;
    let (lower, upper) = (expected - reach, expected + reach);

    let mut working = Working::default();
    let counted = |name, n: usize| Figure::count(name, n as i64, "", Source::MeasuredHere);
    let real = |name, value| Figure::real(name, value, unit, Source::Computed);
    working.step(
        "sum of the group's values ÷ their number",
        vec![counted("values of the group", count)],
        real("mean of the group", mean),
    );
    working.step(
        "mean of all values of each kind, as often as the group has that kind",
        vec![counted("values of all groups", all), counted("kinds", kinds.len())],
        real("expected", expected),
    );
    working.step(
        "√(sum of squares about the mean of each group and kind ÷ (values − means))",
        vec![
            Figure::real("sum of squares", squares, "", Source::Computed),
            counted("values", all),
            counted("means", means),
        ],
        real("scatter", scatter),
    );
    let inputs = || {
        vec![
            real("expected", expected),
            real("scatter", scatter),
            Figure::real("sum over kinds of n − n² ÷ N", free, "", Source::Computed),
            counted("values of the group", count),
        ]
    };
    let source = "E. R. Ott, Industrial Quality Control 24 (1967) 101, with 3 for his factor";
    for (formula, name, value) in [
        ("expected + 3 × scatter × √(sum) ÷ values of the group", "upper limit", upper),
        ("expected − 3 × scatter × √(sum) ÷ values of the group", "lower limit", lower),
    ] {
        let limit = Figure::real(name, value, unit, Source::Published(source.into()));
        working.step(formula, inputs(), limit);
    }
    if all < FEW_VALUES {
        working.warn(format!("Only {all} values: the limits are rough until there are about 20."));
    }
    Ok(Worked { value: GroupMean { count, mean, expected, lower, upper }, working })
}
