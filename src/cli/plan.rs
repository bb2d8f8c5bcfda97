//! `pourday plan`: plans an instance without server or database.

use std::io::Write as _;
use std::path::PathBuf;
use std::time::Instant;

use clap::Args;
use foundry::plan::{Control, Options, solve};

use super::CliFault;
use crate::json::plan::{read_problem, write_plan};

#[derive(Args, Debug)]
pub(crate) struct PlanCommand {
    /// The instance, in the form kiln-plan-instance/1
    instance: PathBuf,
    /// The longest time to think, in seconds
    #[arg(long, default_value_t = 10.0)]
    seconds: f64,
    /// The same seed, instance and steps give the same plan
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Stop after so many steps, whatever the clock says
    #[arg(long)]
    steps: Option<u64>,
}

impl PlanCommand {
    pub(crate) fn run(self) -> Result<(), CliFault> {
        if !self.seconds.is_finite() || self.seconds <= 0.0 {
            return Err(CliFault::Refused("--seconds has to be above 0".to_owned()));
        }
        let text = std::fs::read_to_string(&self.instance)
            .map_err(|error| CliFault::Refused(format!("{}: {error}", self.instance.display())))?;
        let read = read_problem(&text).map_err(|refusal| {
            CliFault::Refused(format!("{}: {refusal}", self.instance.display()))
        })?;
        for key in &read.ignored {
            super::warn(&format!("the key {key} means nothing here and is left out of account"));
        }
        let begun = Instant::now();
        let options = Options { seed: self.seed, most_steps: self.steps };
        let plan = solve(&read.problem, &options, &mut |_| {
            let used = begun.elapsed().as_secs_f64() / self.seconds;
            if used >= 1.0 { Control::Stop } else { Control::Go { used } }
        })
        .map_err(|faults| {
            CliFault::Refused(faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))
        })?;
        let plan = write_plan(&plan, begun.elapsed().as_secs_f64());
        let mut out = std::io::stdout().lock();
        serde_json::to_writer(&mut out, &plan).map_err(std::io::Error::from)?;
        writeln!(out)?;
        Ok(())
    }
}
