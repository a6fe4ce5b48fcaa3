//! Takes in what another program over the same store recorded about members.

use super::Access;
use crate::fault::InternalFault;

impl Access {
    /// Takes in what another program recorded about members.
    ///
    /// # Errors
    /// The store's fault, or records that tell no shop.
    pub(crate) fn look(&self) -> Result<(), InternalFault> {
        if self.0.members.look()? {
            self.0.changes.send_modify(|count| *count += 1);
        }
        Ok(())
    }
}
