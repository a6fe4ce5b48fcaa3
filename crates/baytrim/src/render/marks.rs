//! Letters for gates and limits, and what they mean.

/// Letter of a limit in a grid, and what a reviewer reads about it.
pub(crate) struct LimitMark {
    /// Its letter.
    pub(crate) letter: char,
    /// What it does, for the legend.
    pub(crate) sentence: &'static str,
    /// Its name after "held by".
    pub(crate) holder: &'static str,
}

/// Returns letter and sentence of a limit; a newer server's limit gets `x`.
pub(crate) fn limit(name: &str) -> LimitMark {
    let (letter, holder, sentence) = match name {
        "step" => (
            's',
            "step limit",
            "held to the largest step of one proposal",
        ),
        "total" => (
            't',
            "total limit",
            "held to the largest total change from the base table",
        ),
        "neighbour" => ('n', "its neighbours", "held close to its neighbours"),
        "leanest_lambda" => (
            'w',
            "the lean wall",
            "held by the leanest lambda permitted here, the wall",
        ),
        "lean_proof" => (
            'p',
            "what is proven",
            "fuel comes off only as far as the evidence proves",
        ),
        "false_lean" => (
            'f',
            "a false lean reading",
            "looks lean for another reason than too little fuel",
        ),
        "deadband" => ('d', "the tolerance", "smaller than the tolerance"),
        "standard_error" => ('u', "a large error", "too unsure for a change"),
        "visits" => (
            'v',
            "too few visits",
            "too few separate visits for a change",
        ),
        "borrowed" => (
            'b',
            "no visit",
            "borrowed from neighbours, never visited itself",
        ),
        "resolution" => (
            'r',
            "the table's step",
            "rounded to the step that the table stores",
        ),
        _ => (
            'x',
            "another limit",
            "held by another limit; --json names it",
        ),
    };
    LimitMark {
        letter,
        sentence,
        holder,
    }
}

/// Returns the letter of a gate in a strip; a newer server's gate gets `x`.
pub(crate) fn gate(name: &str) -> char {
    match name {
        "no_reading" => 'n',
        "gap" => 'g',
        "clock" => 'c',
        "channel_fault" => 'd',
        "overrun_cut" => 'o',
        "recovery" => 'r',
        "shift_cut" => 's',
        "rev_limiter" => 'l',
        "torque_cut" => 'k',
        "secondary_air" => 'a',
        "closed_loop" => 'u',
        "purge" => 'v',
        "sensor_not_ready" => 'h',
        "sensor_stop" => 'e',
        "warm_up" => 'w',
        "out_of_table" => 't',
        "plate_rate" => 'p',
        "rpm_rate" => 'y',
        "footprint" => 'f',
        _ => 'x',
    }
}
