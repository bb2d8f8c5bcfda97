//! What it means for a person when the database refuses a row.

/// The sentence for a named constraint; none when it would be a defect of the program.
#[must_use]
pub fn meaning(constraint: &str) -> Option<&'static str> {
    Some(match constraint {
        "people_login_unique" => "Somebody here already signs in with that name; choose another.",
        "alloys_name_unique" => "There is an alloy of that name already; choose another name.",
        "resins_name_unique" => "There is a resin of that name already; choose another name.",
        "resin_lots_unique" => "This lot of the resin is already noted.",
        "printers_name_unique" => "There is a printer of that name already; choose another name.",
        "investments_name_unique" => {
            "There is an investment of that name already; choose another name."
        }
        "flask_types_name_unique" => {
            "There is a flask type of that name already; choose another name."
        }
        "burnout_families_name_unique" => {
            "There is a programme family of that name already; choose another name."
        }
        "kilns_name_unique" => "There is a kiln of that name already; choose another name.",
        "investment_lots_unique" => "This lot of the investment is already noted.",
        "tariffs_one_a_day" => {
            "A tariff that begins on this day is noted already. Remove that one first, or choose another day."
        }
        "metal_lots_unique" => "This lot of the alloy is already in the ledger; check its number.",
        "prices_rate" => "A rate of exchange is above nothing, and of another currency.",
        "prices_one_a_day" => "There is a price for that day already.",
        "quotes_one_draft" | "quotes_one_sent" => {
            "This order has an open quote already; look at that one, or replace it."
        }
        "quotes_one_accepted" => "This order is agreed already.",
        "trial_pieces_one_trial" => {
            "A piece is in a trial already. Nothing was drawn; leave it out and try again."
        }
        "pieces_label_unique" => "The pieces of this order exist already.",
        "attempts_one_open" => "This piece is being made already; its last attempt has not ended.",
        "plate_pieces_one_open" => {
            "A piece is on another plate already. Nothing was changed; take it off there first."
        }
        "printer_profiles_name_unique" => {
            "This printer has a profile of that name already; choose another name."
        }
        "bench_steps_once" => {
            "This step was recorded a moment ago by somebody else. Look at it as it is now."
        }
        "plates_one_printing" => "This printer is printing another plate. Finish that one first.",
        "cure_batch_pieces_one_open" => {
            "A piece is in another cure batch already. Nothing was changed; take it out there first."
        }
        "flask_pieces_one_open" => {
            "A piece is on another tree already. Nothing was changed; take it off there first."
        }
        "flasks_base_in_tree" => "The tree cannot weigh less than its base; check both weights.",
        "kiln_load_flasks_one_open" => {
            "A flask is in another kiln load already. Nothing was changed."
        }
        "kiln_loads_one_under_way" => "This kiln is firing already. Its load has to end first.",
        "plans_one_accepted" => "Another plan was accepted a moment ago. Look at that one first.",
        "pours_once_a_flask" => "This flask has been poured already.",
        "pours_flask_is_hot" => {
            "A pour needs a flask that is hot: its kiln load has not reached its final hold, or has ended."
        }
        "finishing_no_heavier" => {
            "A piece cannot weigh more after finishing than before; check both weights."
        }
        "invoices_one_draft" => {
            "A draft of this invoice is there already; issue that one, or throw it away."
        }
        "invoices_issued_stays" => {
            "An issued invoice does not change. Put it right with a credit note and a new invoice."
        }
        "client_entries_reversed_once" => "This entry was reversed already.",
        "entry_balances_within" => {
            "No more can be paid than is owed, and no payment pays more than it was. Nothing was noted; look at the account as it is now."
        }
        "metal_batch_balances" => {
            "The metal does not balance: what leaves one account must arrive in others. Nothing was posted."
        }
        "metal_batches_reversed_once" => "This entry was reversed already.",
        _ => return None,
    })
}
