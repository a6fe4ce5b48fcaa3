//! Who works in a shop, what shows who they are, and the shop's own rules.

mod member;
mod policy;
mod record;
mod role;
mod token;

pub use member::{MEMBER_NAME_BYTES_MAX, Member, MemberName};
pub use policy::{Policy, VALID_S};
pub use record::{ShopEvent, ShopRecord};
pub use role::Role;
pub use token::{TOKEN_ID_BYTES, TokenHash, TokenId, TokenIssue};
