//! The rules of the shop, as far as decisions about jobs go by them.

use std::sync::Arc;

use baytrim_access::ShopState;
use baytrim_jobs::verdict::Rules;
use baytrim_model::ids::Actor;

use super::Shop;
use crate::access;
use crate::fault::Fault;

impl Shop {
    /// Returns who works in the shop and by which rules.
    ///
    /// # Errors
    /// The store's fault.
    pub fn access(&self) -> Result<Arc<ShopState>, Fault> {
        match &self.access {
            Some(access) => Ok(access.state()),
            None => Ok(access::fold(&*self.store)?),
        }
    }

    /// Does what goes by the rules of verdicts.
    ///
    /// # Errors
    /// What `decide` says, or the store's fault.
    pub fn by_rules<T>(
        &self,
        decide: impl FnOnce(&Rules<'_>) -> Result<T, Fault>,
    ) -> Result<T, Fault> {
        let access = self.access()?;
        let is_same_hand = |one: &Actor, other: &Actor| access.is_same_hand(one, other);
        decide(&Rules {
            one_person: access.policy().one_person,
            is_same_hand: &is_same_hand,
        })
    }
}
