//! The written shape of a working, as it is kept with a quote and sent by the command line.

use foundry::working::{Amount, Figure, Step, Working};
use serde::{Deserialize, Serialize};

/// The steps of a calculation and its warnings.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct WorkingJson {
    /// The steps in order.
    pub steps: Vec<StepJson>,
    /// What to beware of.
    #[serde(default)]
    pub warnings: Vec<String>,
}

/// One step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StepJson {
    /// The formula in the names of its inputs.
    pub formula: String,
    /// The numbers that went in.
    pub inputs: Vec<FigureJson>,
    /// What came out.
    pub result: FigureJson,
}

/// A named number; its value is written out so that exact decimals stay exact.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FigureJson {
    /// What it is.
    pub name: String,
    /// The number.
    pub value: String,
    /// Its unit; empty for a plain number.
    #[serde(default)]
    pub unit: String,
    /// Where it comes from.
    pub source: String,
}

impl From<&Working> for WorkingJson {
    fn from(working: &Working) -> Self {
        Self {
            steps: working.steps.iter().map(StepJson::from).collect(),
            warnings: working.warnings.iter().map(ToString::to_string).collect(),
        }
    }
}

impl From<&Step> for StepJson {
    fn from(step: &Step) -> Self {
        Self {
            formula: step.formula.to_string(),
            inputs: step.inputs.iter().map(FigureJson::from).collect(),
            result: FigureJson::from(&step.result),
        }
    }
}

impl From<&Figure> for FigureJson {
    fn from(figure: &Figure) -> Self {
        let value = match &figure.amount {
            Amount::Real(value) => value.to_string(),
            Amount::Exact(value) => value.normalize().to_string(),
            Amount::Count(value) => value.to_string(),
        };
        Self {
            name: figure.name.to_string(),
            value,
            unit: figure.unit.to_string(),
            source: figure.source.to_string(),
        }
    }
}
