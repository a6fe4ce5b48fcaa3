//! A use map of one's own: how much each node counts, from a file.

use baytrim_api::v1::Axes;

/// Returns the weights of a use map in node order: plate openings down, speeds across.
///
/// The form is that of a table as CSV: the first row a label and the axis across, the first column the axis down,
/// `#` begins a comment. The label says which axis is which: `plate_percent/rpm` or `rpm/plate_percent`.
///
/// # Errors
/// A sentence that says where the file departs from that form, or from the job's `axes`.
pub(crate) fn parse(text: &str, axes: &Axes) -> Result<Vec<f64>, String> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let lines = text.lines().enumerate().map(|(index, line)| {
        let line = line.split('#').next().unwrap_or("").trim();
        (index + 1, line)
    });
    let mut lines = lines.filter(|(_, line)| !line.is_empty());
    let (first, head) = lines.next().ok_or("the file holds no table")?;
    let mut head = head.split(',').map(str::trim);
    let (down, across, is_turned) = match head.next() {
        Some("plate_percent/rpm") => (&axes.plate_percent, &axes.rpm, false),
        Some("rpm/plate_percent") => (&axes.rpm, &axes.plate_percent, true),
        _ => {
            return Err(format!(
                "line {first} must begin with plate_percent/rpm or rpm/plate_percent, then the axis across"
            ));
        }
    };
    let head = numbers(first, head)?;
    if !same(&head, across) {
        return Err(format!("line {first}: the axis across is not the job's"));
    }
    let mut weights = vec![0.0; down.len() * across.len()];
    let mut rows = 0;
    for (number, line) in lines {
        let entries = numbers(number, line.split(',').map(str::trim))?;
        let here = down
            .get(rows)
            .ok_or_else(|| format!("line {number} is one more than the axis down has"))?;
        let (label, entries) = entries
            .split_first()
            .ok_or_else(|| format!("line {number} is empty"))?;
        if !same(&[*label], &[*here]) {
            return Err(format!(
                "line {number} must begin with {here}, as the job's axis has"
            ));
        }
        if entries.len() != across.len() {
            return Err(format!(
                "line {number} holds {} weights; give {}",
                entries.len(),
                across.len()
            ));
        }
        for (column, &weight) in entries.iter().enumerate() {
            if weight < 0.0 {
                return Err(format!("line {number} holds a weight below 0"));
            }
            let place = if is_turned {
                column * down.len() + rows
            } else {
                rows * across.len() + column
            };
            weights[place] = weight;
        }
        rows += 1;
    }
    if rows < down.len() {
        return Err(format!(
            "the file has {rows} rows of weights; the axis down has {}",
            down.len()
        ));
    }
    Ok(weights)
}

fn numbers<'a>(line: usize, entries: impl Iterator<Item = &'a str>) -> Result<Vec<f64>, String> {
    let number = |text: &str| {
        let value = text.parse::<f64>().ok().filter(|value| value.is_finite());
        value.ok_or_else(|| format!("line {line}: {text:?} is no number"))
    };
    entries.map(number).collect()
}

fn same(a: &[f64], b: &[f64]) -> bool {
    let close = |(a, b): (&f64, &f64)| (a - b).abs() <= 1e-6 * (1.0 + a.abs());
    a.len() == b.len() && a.iter().zip(b).all(close)
}

#[cfg(test)]
mod tests {
    use baytrim_api::v1::Axes;

    use super::parse;

    fn axes() -> Axes {
        Axes {
            rpm: vec![1500.0, 3000.0, 4500.0],
            plate_percent: vec![0.0, 40.0],
        }
    }

    /// A plan would weigh other nodes than the file says.
    #[test]
    fn weights_come_in_node_order_either_way_round() {
        let down = "# street\nplate_percent/rpm,1500,3000,4500\n0, 1, 2, 3\n40,4,5,6 # most\n";
        let turned = "rpm/plate_percent,0,40\n1500,1,4\n3000,2,5\n4500,3,6\n";
        let expected = Ok(vec![1.0, 2.0, 3.0, 4.0, 5.0, 6.0]);
        assert_eq!(parse(down, &axes()), expected);
        assert_eq!(parse(turned, &axes()), expected);
    }

    /// A use map of another table would be taken for this one's.
    #[test]
    fn other_files_are_refused_with_the_place() {
        for (text, told) in [
            ("", "no table"),
            ("1,2,3\n", "line 1 must begin"),
            ("plate_percent/rpm,1500,3000\n", "not the job's"),
            (
                "plate_percent/rpm,1500,3000,4500\n5,1,1,1\n",
                "must begin with 0",
            ),
            (
                "plate_percent/rpm,1500,3000,4500\n0,1,1\n",
                "line 2 holds 2",
            ),
            ("plate_percent/rpm,1500,3000,4500\n0,1,-1,1\n", "below 0"),
            (
                "plate_percent/rpm,1500,3000,4500\n0,1,x,1\n",
                "\"x\" is no number",
            ),
            ("plate_percent/rpm,1500,3000,4500\n0,1,1,1\n", "1 rows"),
        ] {
            let error = parse(text, &axes()).unwrap_err();
            assert!(error.contains(told), "{text:?}: {error}");
        }
    }
}
