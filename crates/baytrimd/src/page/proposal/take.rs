//! Which of a proposal's changes a reviewer would take.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use baytrim_model::proposal::{NodeChange, Proposal};

use crate::page::mark::{is_borrowed, is_change};

/// Times its standard error that a correction must be to count as proven. Common practice: two.
const PROVEN_STANDARD_ERRORS: f64 = 2.0;

/// Share of each change that is taken unless a reviewer says less, percent.
const WHOLE_PERCENT: u8 = 100;

/// Which of a proposal's changes a reviewer would take, and how much of each; never a node that does not change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Take {
    taken: Vec<bool>,
    share_percent: u8,
    /// Shares of nodes that don't go with the others.
    own_percent: BTreeMap<usize, u8>,
}

/// A rule that chooses among a proposal's changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Rule {
    /// All but those that take fuel off where less than half of the estimate was measured.
    Usual,
    /// Those that are measured and clearly not zero.
    Proven,
    /// All.
    All,
    /// None.
    None,
}

impl Rule {
    /// Every rule, in the order in which they are offered.
    pub(crate) const ALL: [Self; 4] = [Self::Usual, Self::Proven, Self::All, Self::None];

    /// Returns the name as forms write it.
    pub(crate) fn as_str(self) -> &'static str {
        match self {
            Self::Usual => "usual",
            Self::Proven => "proven",
            Self::All => "all",
            Self::None => "none",
        }
    }

    /// Returns the words on its button.
    pub(crate) fn words(self) -> &'static str {
        match self {
            Self::Usual => "As suggested",
            Self::Proven => "All proven",
            Self::All => "All",
            Self::None => "None",
        }
    }

    /// Returns whether the rule takes the change of a node.
    pub(crate) fn takes(self, node: &NodeChange) -> bool {
        let clear =
            node.correction_percent.abs() >= PROVEN_STANDARD_ERRORS * node.standard_error_percent;
        is_change(node)
            && match self {
                Self::Usual => node.proposed_percent >= 0.0 || !is_borrowed(node),
                Self::Proven => clear && !is_borrowed(node),
                Self::All => true,
                Self::None => false,
            }
    }
}

impl Take {
    /// Returns what a rule takes of a proposal.
    pub(crate) fn by(rule: Rule, proposal: &Proposal) -> Self {
        Self::whole(proposal.nodes.iter().map(|node| rule.takes(node)).collect())
    }

    /// Returns those of `nodes` that change.
    pub(crate) fn of(nodes: &[usize], proposal: &Proposal) -> Self {
        let mut taken = vec![false; proposal.nodes.len()];
        for &node in nodes {
            if proposal.nodes.get(node).is_some_and(is_change) {
                taken[node] = true;
            }
        }
        Self::whole(taken)
    }

    fn whole(taken: Vec<bool>) -> Self {
        Self {
            taken,
            share_percent: WHOLE_PERCENT,
            own_percent: BTreeMap::new(),
        }
    }

    /// Returns the same choice with another share of each change, percent.
    pub(crate) fn with_share(self, share_percent: u8) -> Self {
        Self {
            share_percent,
            ..self
        }
    }

    /// Returns the same choice with a share of its own for a node that is taken, percent; with none it goes with the
    /// others.
    pub(crate) fn with_own(mut self, node: usize, share_percent: Option<u8>) -> Self {
        match share_percent {
            Some(share) if self.taken.get(node) == Some(&true) => {
                self.own_percent.insert(node, share);
            }
            _ => {
                self.own_percent.remove(&node);
            }
        }
        self
    }

    /// Returns the same choice with the own shares that [`Take::own_code`] wrote, as far as their nodes are taken.
    pub(crate) fn with_own_code(self, code: &str) -> Option<Self> {
        let mut parts = code.split('_').filter(|part| !part.is_empty());
        parts.try_fold(self, |take, part| {
            let (node, share) = part.split_once('.')?;
            Some(take.with_own(node.parse().ok()?, Some(Self::share_of(share)?)))
        })
    }

    /// Returns the share that `text` names, 1 to 100 percent; none where it is no such number.
    pub(crate) fn share_of(text: &str) -> Option<u8> {
        let share: u8 = text.trim().parse().ok()?;
        (1..=WHOLE_PERCENT).contains(&share).then_some(share)
    }

    /// Returns the share of each change that is taken, percent.
    pub(crate) fn share_percent(&self) -> u8 {
        self.share_percent
    }

    /// Returns whether less is taken of each change than proposed.
    pub(crate) fn is_less(&self) -> bool {
        self.share_percent < WHOLE_PERCENT
    }

    /// Returns the share of a node's change that is taken, percent; 0 where it is left out.
    pub(crate) fn share_at(&self, node: usize) -> u8 {
        match self.own_at(node) {
            _ if !self.has(node) => 0,
            Some(own) => own,
            None => self.share_percent,
        }
    }

    /// Returns a node's own share, where it has one.
    pub(crate) fn own_at(&self, node: usize) -> Option<u8> {
        self.own_percent.get(&node).copied()
    }

    /// Returns the nodes that are taken with a share of their own, in node order.
    pub(crate) fn own(&self) -> Vec<(usize, u8)> {
        let own = self.own_percent.iter().map(|(&node, &share)| (node, share));
        own.filter(|&(node, _)| self.has(node)).collect()
    }

    /// Returns the own shares as text: `_`, node number, `.`, share, for each.
    pub(crate) fn own_code(&self) -> String {
        self.own().iter().fold(String::new(), |mut code, part| {
            let _ = write!(code, "_{}.{}", part.0, part.1);
            code
        })
    }

    /// Returns what [`Take::code`] wrote; none where it is no such text, or of another table.
    pub(crate) fn from_code(code: &str, proposal: &Proposal) -> Option<Self> {
        let (code, own) = code.split_at(code.find('_').unwrap_or(code.len()));
        let (code, share) = match code.split_once('-') {
            Some((code, share)) => (code, Self::share_of(share)?),
            None => (code, WHOLE_PERCENT),
        };
        if code.len() != proposal.nodes.len().div_ceil(4) {
            return None;
        }
        let mut taken = Vec::with_capacity(code.len() * 4);
        for letter in code.chars() {
            let digit = letter.to_digit(16)?;
            taken.extend((0..4).map(|bit| digit & (1 << bit) != 0));
        }
        taken.truncate(proposal.nodes.len());
        let changing = proposal.nodes.iter().map(is_change);
        let taken = taken.into_iter().zip(changing);
        let taken = taken.map(|(taken, changes)| taken && changes);
        Self::whole(taken.collect())
            .with_share(share)
            .with_own_code(own)
    }

    /// Returns the choice as text for a path: a hexadecimal digit for each four nodes, in node order; then, where it
    /// is not the whole of each change, `-` and the share; then the own shares.
    pub(crate) fn code(&self) -> String {
        let digit = |four: &[bool]| {
            let bits = four.iter().enumerate().filter(|(_, taken)| **taken);
            let value = bits.fold(0_u32, |value, (bit, _)| value | (1 << bit));
            char::from_digit(value, 16).expect("below 16")
        };
        let mut code: String = self.taken.chunks(4).map(digit).collect();
        if self.is_less() {
            let _ = write!(code, "-{}", self.share_percent);
        }
        code + &self.own_code()
    }

    /// Takes the change of a node, or leaves it; a node that does not change is always left.
    pub(crate) fn set(&mut self, node: usize, to: bool, proposal: &Proposal) {
        if proposal.nodes.get(node).is_some_and(is_change) {
            self.taken[node] = to;
        }
    }

    /// Takes all changes among `nodes`, or none of them where all were taken.
    pub(crate) fn toggle(&mut self, nodes: &[usize], proposal: &Proposal) {
        let changing: Vec<usize> = nodes
            .iter()
            .copied()
            .filter(|&node| is_change(&proposal.nodes[node]))
            .collect();
        let to = !changing.iter().all(|&node| self.taken[node]);
        for node in changing {
            self.set(node, to, proposal);
        }
    }

    /// Returns whether a node is taken.
    pub(crate) fn has(&self, node: usize) -> bool {
        self.taken[node]
    }

    /// Returns the nodes that are taken, in node order.
    pub(crate) fn nodes(&self) -> Vec<usize> {
        (0..self.taken.len())
            .filter(|&node| self.taken[node])
            .collect()
    }

    /// Returns how many nodes are taken.
    pub(crate) fn count(&self) -> usize {
        self.taken.iter().filter(|taken| **taken).count()
    }
}
