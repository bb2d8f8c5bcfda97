//! What clients were told: lines of quotes, promised days, answers.

use super::Kind::{Day, Moment, Number, Text};
use super::{Dataset, column};

pub(super) const SETS: &[Dataset] = &[
    Dataset {
        name: "quote_lines",
        title: "Lines of quotes",
        about: "what each version of a price says, line by line",
        from: "FROM quotes q JOIN orders o ON o.id = q.order_id CROSS JOIN LATERAL jsonb_array_elements(q.content->'lines') WITH ORDINALITY x(line, at)",
        order: "o.number, q.n, x.at",
        columns: &[
            column("order_number", Number, "o.number", "the order"),
            column("version", Number, "q.n", "the version"),
            column("state", Text, "q.state", "what became of it"),
            column(
                "line",
                Number,
                "x.line->>'n'",
                "the line of the order; 0 for what stands beside them",
            ),
            column("name", Text, "x.line->>'name'", "what it is"),
            column("alloy", Text, "x.line->>'alloy'", "in what"),
            column("quantity", Number, "x.line->>'quantity'", "how many"),
            column(
                "unit_price",
                Number,
                "x.line->>'unit_price'",
                "the price of a piece; nothing where the line is priced as a whole",
            ),
            column("list", Number, "x.line->'amounts'->>'list'", "the price before discount"),
            column("discount", Number, "x.line->'amounts'->>'discount'", "taken off it"),
            column("net", Number, "x.line->'amounts'->>'net'", "without tax"),
            column("tax", Number, "x.line->'amounts'->>'tax'", "tax"),
            column("gross", Number, "x.line->'amounts'->>'gross'", "with tax"),
            column("cost", Number, "x.line->'amounts'->>'cost'", "what it costs the studio"),
            column("currency", Text, "q.currency", "the currency"),
        ],
    },
    Dataset {
        name: "promises",
        title: "Promised days",
        about: "every day that an order was promised for, with its chance",
        from: "FROM promises m JOIN orders o ON o.id = m.order_id LEFT JOIN people w ON w.id = m.made_by",
        order: "m.made_at, m.id",
        columns: &[
            column("order_number", Number, "o.number", "the order"),
            column("quote", Number, "m.quote_n", "in which version of the price"),
            column("promised_on", Day, "m.promised_on", "the day"),
            column("chance", Number, "m.chance", "how likely it was, from 0 to 1"),
            column("reason", Text, "m.reason", "why it was moved"),
            column("made_at", Moment, "m.made_at", "when it was promised"),
            column("made_by", Text, "w.name", "by whom"),
        ],
    },
    Dataset {
        name: "questions",
        title: "Questions",
        about: "what clients asked on their pages, and the answers",
        from: "FROM questions x JOIN orders o ON o.id = x.order_id LEFT JOIN people w ON w.id = x.person_id",
        order: "x.asked_at, x.id",
        columns: &[
            column("order_number", Number, "o.number", "the order"),
            column("words", Text, "x.words", "what was said"),
            column("person", Text, "w.name", "who answered; nothing when the client asked"),
            column("asked_at", Moment, "x.asked_at", "when"),
            column("settled_at", Moment, "x.settled_at", "when it was dealt with"),
        ],
    },
];
