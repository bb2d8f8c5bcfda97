//! `pourday pack`: trees in as few flasks as can be found.

use std::time::Instant;

use clap::{Args, ValueEnum};
use foundry::mesh::Mesh;
use foundry::pack::{
    Attach, Channels, FlaskKind, Heavy, Pattern, Sprue, ToTree, TreeRules, judge_tree, pack_flasks,
};

use super::model::{ModelsArgs, lengths};
use super::{CliFault, serve::say};
use crate::json::plate::LeftJson;
use crate::json::tree::{AttachmentJson, OnTreeJson, RodJson, TreeJson, TreesJson};

#[derive(Args, Debug)]
pub(crate) struct PackCommand {
    #[command(flatten)]
    models: ModelsArgs,
    /// A kind of flask: inside diameter and height in millimetres, 76x100; a number of free ones may
    /// follow, 76x100:4. Give it once for each kind
    #[arg(long = "flask", value_name = "DxH[:COUNT]", required = true, value_parser = flask)]
    flasks: Vec<FlaskKind>,
    /// When each file is due, in any whole numbers, least first, in the order of the files: 12,3,3
    #[arg(long, value_delimiter = ',', allow_hyphen_values = true)]
    due: Vec<i64>,
    /// The group of each file (alloy and pattern family), in the order of the files: 0,0,1
    #[arg(long, value_delimiter = ',')]
    group: Vec<usize>,
    /// Where pieces are joined: at their heaviest section, or at the heaviest on one side
    #[arg(long, value_enum, default_value_t = Side::Heaviest)]
    attach: Side,
    /// Where heavy pieces hang
    #[arg(long, value_enum, default_value_t = Where::Low)]
    heavy: Where,
    /// Across the sprue, in millimetres
    #[arg(long, value_name = "MM", default_value_t = 8.0)]
    sprue: f64,
    /// Parts of a branching sprue; with none it is straight
    #[arg(long, default_value_t = 0)]
    branches: u32,
    /// From the flask's axis to a branch, in millimetres
    #[arg(long, value_name = "MM", default_value_t = 22.0)]
    spread: f64,
    /// Across a runner, in millimetres
    #[arg(long, value_name = "MM", default_value_t = 3.0)]
    runner: f64,
    /// Tilts of runners above the horizontal that may be used, in degrees, preferred first
    #[arg(long, value_name = "DEGREES", value_delimiter = ',', allow_hyphen_values = true, default_values_t = [45.0, 60.0, 30.0])]
    tilt: Vec<f64>,
    /// Kept free to the wall, in millimetres
    #[arg(long, value_name = "MM", default_value_t = 7.0)]
    wall: f64,
    /// Kept free below the rim, in millimetres
    #[arg(long, value_name = "MM", default_value_t = 12.0)]
    top: f64,
    /// Kept free above the base, in millimetres
    #[arg(long, value_name = "MM", default_value_t = 12.0)]
    floor: f64,
    /// Kept free between pieces, in millimetres
    #[arg(long, value_name = "MM", default_value_t = 3.0)]
    apart: f64,
    /// Vacuum channels along the wall: how many, across one, and from the flask's axis, such as 6x6x38
    #[arg(long, value_name = "COUNTxMMxMM", value_parser = lengths::<3>)]
    channels: Option<[f64; 3]>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Side {
    Heaviest,
    Below,
    Above,
    Left,
    Right,
    Front,
    Back,
}

impl Side {
    fn attach(self) -> Attach {
        match self {
            Self::Heaviest => Attach::Heaviest,
            Self::Below => Attach::Facing([0.0, 0.0, -1.0]),
            Self::Above => Attach::Facing([0.0, 0.0, 1.0]),
            Self::Left => Attach::Facing([-1.0, 0.0, 0.0]),
            Self::Right => Attach::Facing([1.0, 0.0, 0.0]),
            Self::Front => Attach::Facing([0.0, -1.0, 0.0]),
            Self::Back => Attach::Facing([0.0, 1.0, 0.0]),
        }
    }
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Where {
    Low,
    High,
    Anywhere,
}

fn flask(text: &str) -> Result<FlaskKind, String> {
    let (size, at_hand) = match text.rsplit_once(':') {
        None => (text, None),
        Some((size, count)) => {
            let count = count.trim().parse().map_err(|_| {
                format!("“{text}”: after the colon comes how many of this flask are free")
            })?;
            (size, Some(count))
        }
    };
    let [diameter_mm, height_mm] = lengths::<2>(size)?;
    Ok(FlaskKind { diameter_mm, height_mm, channels: None, at_hand })
}

impl PackCommand {
    fn rules(&self) -> TreeRules {
        TreeRules {
            sprue: if self.branches == 0 {
                Sprue::Straight { diameter_mm: self.sprue }
            } else {
                Sprue::Branching {
                    diameter_mm: self.sprue,
                    branches: self.branches,
                    spread_mm: self.spread,
                }
            },
            wall_mm: self.wall,
            top_mm: self.top,
            floor_mm: self.floor,
            apart_mm: self.apart,
            runner_diameter_mm: self.runner,
            tilts_deg: self.tilt.clone(),
            heavy: match self.heavy {
                Where::Low => Heavy::Low,
                Where::High => Heavy::High,
                Where::Anywhere => Heavy::Anywhere,
            },
            ..TreeRules::default()
        }
    }

    pub(crate) fn run(self) -> Result<(), CliFault> {
        let begun = Instant::now();
        let refused = |why: &dyn std::fmt::Display| CliFault::Refused(why.to_string());
        let read = self.models.read()?;
        for (what, given) in [("--due", self.due.len()), ("--group", self.group.len())] {
            if given != 0 && given != read.len() {
                return Err(CliFault::Refused(format!(
                    "{what} names {given} numbers for {} files; give one for each file",
                    read.len()
                )));
            }
        }
        let meshes: Vec<Mesh> =
            read.iter().map(|(model, _)| model.in_millimetres()).collect::<Result<_, _>>()?;
        let attach = self.attach.attach();
        let patterns: Vec<Pattern<'_>> =
            meshes.iter().map(|mesh| Pattern { mesh, attach }).collect();
        let mut pieces = Vec::new();
        let mut copies = Vec::new();
        for (pattern, (_, count)) in read.iter().enumerate() {
            for copy in 1..=*count {
                let due = self.due.get(pattern).copied();
                let group = self.group.get(pattern).copied().unwrap_or(0);
                pieces.push(ToTree { pattern, due, group });
                copies.push(copy);
            }
        }
        let channels = self.channels.map(|[count, diameter_mm, from_axis_mm]| Channels {
            count: count.round() as u32,
            diameter_mm,
            from_axis_mm,
        });
        let kinds: Vec<FlaskKind> =
            self.flasks.iter().map(|kind| FlaskKind { channels, ..*kind }).collect();
        let rules = self.rules();
        let packed =
            pack_flasks(&kinds, &patterns, &pieces, &rules).map_err(|why| refused(&why))?;
        let name = |piece: usize| read[pieces[piece].pattern].0.name.clone();
        let mut flasks = Vec::new();
        for flask in &packed.flasks {
            let kind = &kinds[flask.kind];
            if let Some(fault) = judge_tree(kind, &patterns, &pieces, &rules, flask).first() {
                return Err(CliFault::Refused(format!("the tree is wrong: {fault}")));
            }
            let inside = kind.diameter_mm.powi(2) * std::f64::consts::FRAC_PI_4 * kind.height_mm;
            flasks.push(TreeJson {
                diameter_mm: kind.diameter_mm,
                height_mm: kind.height_mm,
                pieces: flask
                    .pieces
                    .iter()
                    .map(|on| OnTreeJson::new(name(on.piece), copies[on.piece], on))
                    .collect(),
                sprue: flask.sprue.iter().map(RodJson::from).collect(),
                pieces_mm3: flask.pieces_mm3,
                sprue_mm3: flask.sprue_mm3,
                investment_mm3: flask.pieces_mm3.map(|mm3| inside - mm3 - flask.sprue_mm3),
            });
        }
        let written = TreesJson {
            flasks,
            at_least_flasks: packed.at_least,
            left: packed
                .left
                .iter()
                .map(|(piece, why)| LeftJson {
                    file: name(*piece),
                    copy: copies[*piece],
                    why: why.to_string(),
                })
                .collect(),
            attachments: read
                .iter()
                .zip(&packed.attachments)
                .map(|((model, _), join)| AttachmentJson::new(model.name.clone(), join))
                .collect(),
            wall_seconds: begun.elapsed().as_secs_f64(),
        };
        say(&serde_json::to_string_pretty(&written).map_err(|error| refused(&error))?);
        Ok(())
    }
}
