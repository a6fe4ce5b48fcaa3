//! Moments as people read them: how long ago, and exactly on a second look.

use baytrim_model::ids::UnixMillis;
use jiff::Timestamp;
use maud::{Markup, html};

/// Returns a `time` element: the day and minute in UTC, which the script turns into local time.
pub(super) fn moment(at: UnixMillis) -> Markup {
    let Ok(stamp) = Timestamp::from_millisecond(at.0) else {
        return html! { "an impossible time" };
    };
    html! {
        time datetime=(stamp.strftime("%Y-%m-%dT%H:%M:%SZ")) {
            (stamp.strftime("%-d %b %Y, %H:%M UTC"))
        }
    }
}

/// Returns how long ago `at` was, in one unit.
pub(super) fn age(at: UnixMillis, now: UnixMillis) -> String {
    let minutes = (now.0 - at.0).max(0) / 60_000;
    match minutes {
        0 => "just now".to_owned(),
        1..=119 => format!("{minutes} min ago"),
        120..=2879 => format!("{} h ago", minutes / 60),
        _ => format!("{} days ago", minutes / 1440),
    }
}

#[cfg(test)]
mod tests {
    use super::{age, moment};
    use baytrim_model::ids::UnixMillis;

    /// If this fails, a reviewer misjudges how old a proposal is.
    #[test]
    fn ages_are_told_in_one_unit() {
        let ago = |minutes: i64| age(UnixMillis(0), UnixMillis(minutes * 60_000));
        assert_eq!(ago(0), "just now");
        assert_eq!(ago(59), "59 min ago");
        assert_eq!(ago(180), "3 h ago");
        assert_eq!(ago(3 * 1440), "3 days ago");
        assert_eq!(age(UnixMillis(60_000), UnixMillis(0)), "just now");
    }

    /// If this fails, the page and the ledger tell different moments.
    #[test]
    fn a_moment_is_told_in_utc() {
        // 2026-11-25T07:46:52Z by `date --date=... +%s`.
        let text = moment(UnixMillis(1_795_592_812_000)).into_string();
        assert!(text.contains("datetime=\"2026-11-25T07:46:52Z\""), "{text}");
        assert!(text.contains("25 Nov 2026, 07:46 UTC"), "{text}");
    }
}
