//! A result together with how it was reached.
//!
//! The working is what a studio owner checks with a pocket calculator: every
//! step names its formula and puts the actual numbers beside it. Values are
//! kept unrounded; rounding for display happens where the working is shown.

use std::borrow::Cow;

use rust_decimal::Decimal;

use crate::source::Source;

/// A value and the steps that led to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Worked<T> {
    /// The result.
    pub value: T,
    /// How it was reached.
    pub working: Working,
}

impl<T> Worked<T> {
    /// Keeps the working while changing the value's form.
    pub fn map<U>(self, change: impl FnOnce(T) -> U) -> Worked<U> {
        Worked { value: change(self.value), working: self.working }
    }
}

/// The steps of a calculation in the order they were taken, and what to beware of.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Working {
    /// The steps.
    pub steps: Vec<Step>,
    /// What the reader should know before trusting the result.
    pub warnings: Vec<Cow<'static, str>>,
}

impl Working {
    /// Adds a step.
    pub fn step(
        &mut self,
        formula: impl Into<Cow<'static, str>>,
        inputs: Vec<Figure>,
        result: Figure,
    ) -> &mut Self {
        self.steps.push(Step { formula: formula.into(), inputs, result });
        self
    }

    /// Adds a warning.
    pub fn warn(&mut self, warning: impl Into<Cow<'static, str>>) -> &mut Self {
        self.warnings.push(warning.into());
        self
    }

    /// Appends the steps and warnings of a calculation this one builds on.
    pub fn follow(&mut self, earlier: Working) -> &mut Self {
        self.steps.extend(earlier.steps);
        self.warnings.extend(earlier.warnings);
        self
    }
}

/// One step: `result = formula(inputs)`.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// The formula in the names of its inputs, such as `volume × density`.
    pub formula: Cow<'static, str>,
    /// The numbers that went in.
    pub inputs: Vec<Figure>,
    /// What came out.
    pub result: Figure,
}

/// A named number with its unit and origin.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// What it is, in the trade's words.
    pub name: Cow<'static, str>,
    /// The number.
    pub amount: Amount,
    /// The unit as printed; empty for a plain number.
    pub unit: Cow<'static, str>,
    /// Where it comes from.
    pub source: Source,
}

/// A number in a working.
#[derive(Debug, Clone, PartialEq)]
pub enum Amount {
    /// A measured or computed physical number.
    Real(f64),
    /// An exact number: money, a price, a share of a price.
    Exact(Decimal),
    /// A count.
    Count(i64),
}

impl Figure {
    /// A physical number.
    pub fn real(
        name: impl Into<Cow<'static, str>>,
        value: f64,
        unit: &'static str,
        source: Source,
    ) -> Self {
        Self { name: name.into(), amount: Amount::Real(value), unit: Cow::Borrowed(unit), source }
    }

    /// An exact decimal number.
    pub fn exact(
        name: impl Into<Cow<'static, str>>,
        value: Decimal,
        unit: impl Into<Cow<'static, str>>,
        source: Source,
    ) -> Self {
        Self { name: name.into(), amount: Amount::Exact(value), unit: unit.into(), source }
    }

    /// A count.
    pub fn count(
        name: impl Into<Cow<'static, str>>,
        value: i64,
        unit: &'static str,
        source: Source,
    ) -> Self {
        Self { name: name.into(), amount: Amount::Count(value), unit: Cow::Borrowed(unit), source }
    }
}
