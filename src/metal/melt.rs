//! Alloying up and down to a fineness with what is in stock. No SQL.

use foundry::metal::{
    Element, Fineness, MarkList, PreciousMetal, Weighed, addition_on_scale, mark_for,
    mixed as fineness_of, most_for_addition,
};
use foundry::working::Worked;
use rust_decimal::Decimal;
use sqlx::PgExecutor;

use super::model::Account;
use super::own::grams_of;
use crate::id::AlloyId;
use crate::web::Form;

/// An alloy with what there is of it.
#[derive(Clone, Debug)]
pub(super) struct Stocked {
    pub(super) id: AlloyId,
    pub(super) name: String,
    pub(super) fresh: i64,
    pub(super) returns: i64,
    /// Metals with their parts per thousand.
    pub(super) parts: Vec<(String, Decimal)>,
}

impl Stocked {
    /// The alloy's fineness in a metal; none of it is nought.
    pub(super) fn fineness(&self, metal: Element) -> Fineness {
        let parts = self.parts.iter().find(|(symbol, _)| symbol == metal.symbol());
        parts.and_then(|(_, parts)| Fineness::from_per_mille(*parts).ok()).unwrap_or(Fineness::NONE)
    }

    fn held(&self, account: Account) -> i64 {
        if account == Account::Returns { self.returns } else { self.fresh }
    }
}

/// The metals whose fineness is marked.
pub(super) const PRECIOUS: [PreciousMetal; 4] =
    [PreciousMetal::Gold, PreciousMetal::Silver, PreciousMetal::Platinum, PreciousMetal::Palladium];

/// Which melt is to be brought to which fineness, as typed, checked.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wish {
    pub(super) alloy: AlloyId,
    pub(super) account: Account,
    pub(super) cg: i64,
    pub(super) metal: Element,
    pub(super) target: Fineness,
    /// Grams the scale steps by.
    pub(super) step: Decimal,
}

/// The steps of scales to choose from, in grams.
pub(super) const STEPS: [(&str, &str); 3] =
    [("0.01", "0.01 g"), ("0.1", "0.1 g"), ("1", "whole grams")];

impl Wish {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let alloy = form.choice("alloy");
        let account = match form.value("account") {
            "returns" => Account::Returns,
            _ => Account::Fresh,
        };
        let cg = super::forms::centigrams(form, "grams", Decimal::new(1, 2));
        let metal = Element::by_symbol(form.value("metal"))
            .filter(|metal| PRECIOUS.iter().any(|precious| precious.element() == *metal));
        if metal.is_none() {
            form.wrong("metal", "Choose one of these.");
        }
        let target = fineness(form, "target");
        let step: Decimal = form.value("step").parse().unwrap_or(Decimal::new(1, 2));
        let step = if STEPS.iter().any(|(known, _)| known.parse() == Ok(step)) {
            step
        } else {
            Decimal::new(1, 2)
        };
        if !form.good() {
            return None;
        }
        Some(Self { alloy: alloy?, account, cg: cg?, metal: metal?, target: target?, step })
    }
}

/// A fineness in parts per thousand, or in karats with a k behind.
fn fineness(form: &mut Form, name: &str) -> Option<Fineness> {
    let typed = form.value(name).trim().replace(',', ".").to_lowercase();
    let karat = typed.strip_suffix("kt").or_else(|| typed.strip_suffix('k'));
    let read = match karat {
        Some(karat) => karat.trim().parse().ok().map(Fineness::from_karat),
        None => typed.parse().ok().map(Fineness::from_per_mille),
    };
    match read {
        Some(Ok(fineness)) if fineness > Fineness::NONE => Some(fineness),
        Some(Ok(_)) => {
            form.wrong(name, "This must be above 0 parts per thousand.");
            None
        }
        Some(Err(refusal)) => {
            form.wrong(name, format!("This cannot be: {refusal}."));
            None
        }
        None => {
            form.wrong(name, "Parts per thousand are needed, such as 585, or karats, such as 18k.");
            None
        }
    }
}

/// One way to bring the melt there: with which alloy, how much of it.
#[derive(Clone, Debug)]
pub(super) struct Way {
    pub(super) with: AlloyId,
    pub(super) name: String,
    /// What there is of it, fresh.
    pub(super) at_hand: i64,
    pub(super) weighed: Worked<Weighed>,
    /// When there is too little: the most of the melt that it is enough for.
    pub(super) enough_for: Option<Worked<Decimal>>,
    /// Metals in it that neither the melt has nor the alloy it becomes, by their symbols.
    pub(super) foreign: Vec<String>,
    /// Into which alloy of the studio that would go, if there is one.
    pub(super) into: Option<AlloyId>,
}

impl Way {
    /// What is weighed out, in centigrams.
    pub(super) fn add_cg(&self) -> i64 {
        centigrams_of(self.weighed.value.add)
    }

    pub(super) fn enough(&self) -> bool {
        self.enough_for.is_none()
    }

    pub(super) fn total_cg(&self) -> i64 {
        centigrams_of(self.weighed.value.total)
    }

    pub(super) fn reached(&self) -> Decimal {
        self.weighed.value.reached.per_mille()
    }
}

fn centigrams_of(grams: Decimal) -> i64 {
    i64::try_from(grams * Decimal::ONE_HUNDRED).unwrap_or(i64::MAX)
}

/// Why there is no way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct NoWay(pub(super) String);

/// All alloys that bring the melt to the fineness, those first of which there is enough.
pub(super) fn ways(stock: &[Stocked], wish: &Wish) -> Result<Vec<Way>, NoWay> {
    let Some(melt) = stock.iter().find(|alloy| alloy.id == wish.alloy) else {
        return Err(NoWay("There is no such alloy any more; choose another.".to_owned()));
    };
    let from = melt.fineness(wish.metal);
    if from == wish.target {
        return Err(NoWay(format!("{} has that fineness already.", melt.name)));
    }
    let mut ways: Vec<Way> = stock
        .iter()
        .filter(|other| other.id != melt.id)
        .filter_map(|other| way(stock, other, wish, melt))
        .collect();
    // What keeps the alloy what it is comes first, then what there is enough of.
    ways.sort_by_key(|way| {
        (way.foreign.len(), way.at_hand == 0, !way.enough(), way.weighed.value.add)
    });
    if ways.is_empty() {
        let wanted = if from < wish.target { "finer" } else { "less fine" };
        return Err(NoWay(format!(
            "No alloy of the studio is {wanted} in {} than what is wanted. Add what is melted in, such as the fine metal or copper, to the alloys.",
            wish.metal.name()
        )));
    }
    Ok(ways)
}

/// What there is of the melt when more was said to be in hand.
pub(super) fn short(stock: &[Stocked], wish: &Wish) -> Option<i64> {
    let melt = stock.iter().find(|alloy| alloy.id == wish.alloy)?;
    Some(melt.held(wish.account)).filter(|held| *held < wish.cg)
}

/// An alloy is offered for a melt that is finer than it by no more than this, in parts per
/// thousand: more would be given away.
const NEAR_ENOUGH: Decimal = Decimal::from_parts(10, 0, 0, false, 0);

fn way(stock: &[Stocked], other: &Stocked, wish: &Wish, melt: &Stocked) -> Option<Way> {
    let from = melt.fineness(wish.metal);
    let with = other.fineness(wish.metal);
    let mass = grams_of(wish.cg);
    let weighed = addition_on_scale(mass, "g", from, wish.target, with, wish.step).ok()?;
    let at_hand = other.held(Account::Fresh);
    let enough_for = if weighed.value.add <= grams_of(at_hand) {
        None
    } else if at_hand > 0 {
        let there = grams_of(at_hand);
        Some(most_for_addition(there, "g", from, wish.target, with, wish.step).ok()?)
    } else {
        Some(Worked { value: Decimal::ZERO, working: weighed.working.clone() })
    };
    let reached = weighed.value.reached;
    // The finest alloy that it is fine enough for.
    let nearest = stock
        .iter()
        .filter(|alloy| {
            let its = alloy.fineness(wish.metal);
            its > Fineness::NONE && its <= reached
        })
        .max_by_key(|alloy| alloy.fineness(wish.metal));
    let into = nearest.filter(|alloy| {
        reached.per_mille() - alloy.fineness(wish.metal).per_mille() <= NEAR_ENOUGH
    });
    // A melt of one metal says nothing of what may come into it; the nearest alloy does.
    let meant = if melt.parts.len() == 1 { nearest } else { into };
    let belongs = || melt.parts.iter().chain(meant.iter().flat_map(|alloy| &alloy.parts));
    let has = |metal: &String| belongs().any(|(known, _)| known == metal);
    let foreign = other.parts.iter().map(|(metal, _)| metal).filter(|metal| !has(metal)).cloned();
    Some(Way {
        with: other.id,
        name: other.name.clone(),
        at_hand,
        weighed,
        enough_for,
        foreign: foreign.collect(),
        into: into.map(|alloy| alloy.id),
    })
}

/// Refuses to call a melt an alloy that it is not fine enough for. There is no minus tolerance.
pub(super) fn fine_enough(portions: &[(&Stocked, i64)], into: &Stocked) -> Result<(), NoWay> {
    for precious in PRECIOUS {
        let metal = precious.element();
        let wanted = into.fineness(metal);
        let melted: Vec<_> =
            portions.iter().map(|(alloy, cg)| (grams_of(*cg), alloy.fineness(metal))).collect();
        let reached =
            fineness_of(&melted).map_err(|refusal| NoWay(format!("This cannot be: {refusal}.")))?;
        if reached < wanted {
            return Err(NoWay(format!(
                "The melt has {} parts of {} in a thousand and {} has {}: it is not fine enough. Nothing was posted; add more fine metal or choose the alloy that it is.",
                reached.per_mille().round_dp(2).normalize(),
                metal.name(),
                into.name,
                wanted.per_mille().normalize()
            )));
        }
    }
    Ok(())
}

/// What may be marked on an alloy, in a sentence for each metal that has a standard.
pub(super) fn marks(alloy: &[(String, Decimal)]) -> Vec<String> {
    let main = PRECIOUS
        .iter()
        .filter_map(|precious| {
            let symbol = precious.element().symbol();
            alloy.iter().find(|(metal, _)| metal == symbol).map(|(_, parts)| (*precious, *parts))
        })
        .max_by_key(|(_, parts)| *parts);
    let Some((precious, parts)) = main else { return Vec::new() };
    let Ok(fineness) = Fineness::from_per_mille(parts) else { return Vec::new() };
    let metal = precious.element().name();
    [(MarkList::Iso9202, "ISO 9202"), (MarkList::UnitedKingdom, "the United Kingdom")]
        .iter()
        .map(|(list, whose)| match mark_for(*list, precious, fineness) {
            Some(mark) => format!("{mark} for {metal} by the standards of {whose}"),
            None => format!("no standard of {whose} for {metal}: it is below the lowest"),
        })
        .collect()
}

/// Which marks an alloy may bear, as a reminder where pieces leave the bench; nothing for an alloy
/// without a precious metal.
pub async fn marks_of(db: impl PgExecutor<'_>, alloy: AlloyId) -> Result<Vec<String>, sqlx::Error> {
    let parts: Vec<(String, Decimal)> =
        sqlx::query_as("SELECT metal, parts_per_thousand FROM alloy_parts WHERE alloy_id = $1")
            .bind(alloy)
            .fetch_all(db)
            .await?;
    Ok(marks(&parts))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn alloy(name: &str, fresh: i64, parts: &[(&str, i64)]) -> Stocked {
        Stocked {
            id: AlloyId::new(),
            name: name.to_owned(),
            fresh,
            returns: 0,
            parts: parts.iter().map(|(m, p)| ((*m).to_owned(), Decimal::from(*p))).collect(),
        }
    }

    #[test]
    fn what_is_enough_comes_first_and_what_is_not_says_for_how_much() {
        // 100 g of 417 gold to 585 with fine gold is 40.4819 g, by arithmetic.
        let stock = [
            alloy("Ten", 10_000, &[("Au", 417), ("Cu", 583)]),
            alloy("Fine gold", 2_024, &[("Au", 1000)]),
            alloy("Eighteen", 50_000, &[("Au", 750), ("Cu", 250)]),
            alloy("Copper", 9_000, &[("Cu", 1000)]),
        ];
        let wish = Wish {
            alloy: stock[0].id,
            account: Account::Fresh,
            cg: 10_000,
            metal: Element::Gold,
            target: Fineness::from_per_mille(585.into()).unwrap(),
            step: Decimal::new(1, 2),
        };
        let ways = ways(&stock, &wish).unwrap();
        let names: Vec<_> = ways.iter().map(|way| way.name.as_str()).collect();
        assert_eq!(names, ["Eighteen", "Fine gold"], "copper cannot raise");
        // 100·(585 − 417)/(750 − 585) = 101.8182, rounded up.
        assert_eq!((ways[0].add_cg(), ways[0].enough()), (10_182, true));
        assert_eq!((ways[1].add_cg(), ways[1].enough()), (4_049, false));
        // 20.24·(1000 − 585)/(585 − 417) = 49.9976, rounded down.
        let most = ways[1].enough_for.as_ref().map(|most| most.value);
        assert_eq!(most, Some(Decimal::new(4_999, 2)));
        assert!(fine_enough(&[(&stock[0], 10_000), (&stock[1], 4_049)], &stock[2]).is_err());
        assert!(fine_enough(&[(&stock[1], 1), (&stock[2], 4_049)], &stock[2]).is_ok());
    }

    #[test]
    fn what_brings_in_another_metal_is_told_apart() {
        let stock = [
            alloy("Sterling", 50_000, &[("Ag", 925), ("Cu", 75)]),
            alloy("Copper", 9_000, &[("Cu", 1000)]),
            alloy("Brass", 90_000, &[("Cu", 850), ("Zn", 150)]),
            alloy("Fourteen", 9_000, &[("Au", 585), ("Ag", 250), ("Cu", 165)]),
            alloy("Fine silver", 9_000, &[("Ag", 1000)]),
        ];
        let to = |from: usize, target: i64| {
            let wish = Wish {
                alloy: stock[from].id,
                account: Account::Fresh,
                cg: 10_000,
                metal: Element::Silver,
                target: Fineness::from_per_mille(target.into()).unwrap(),
                step: Decimal::new(1, 2),
            };
            let ways = ways(&stock, &wish).unwrap().into_iter();
            ways.map(|way| (way.name, way.foreign.join(" "))).collect::<Vec<_>>()
        };
        let told = |name: &str, foreign: &str| (name.to_owned(), foreign.to_owned());
        let down = to(0, 900);
        assert_eq!(down[0], told("Copper", ""));
        assert!(down.contains(&told("Brass", "Zn")) && down.contains(&told("Fourteen", "Au")));
        // Fine silver says nothing of copper; sterling, the nearest alloy, does.
        let fine = to(4, 950);
        assert!(fine.contains(&told("Sterling", "")) && fine.contains(&told("Copper", "")));
        assert!(fine.contains(&told("Brass", "Zn")));
    }

    #[test]
    fn a_mark_is_never_rounded_up() {
        let of = |parts: &str| marks(&[("Au".to_owned(), parts.parse().unwrap())]);
        assert!(of("585")[0].starts_with("585 for gold"));
        // Tukes, fineness requirements: 584 parts of gold are marked 375.
        assert!(of("584")[1].starts_with("375 for gold"));
        assert!(of("300")[0].starts_with("no standard"));
        assert!(marks(&[("Cu".to_owned(), 900.into())]).is_empty());
    }
}
