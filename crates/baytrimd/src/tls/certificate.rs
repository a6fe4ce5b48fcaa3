//! What is read of a certificate: whose it is and when it ends.

use baytrim_model::ids::UnixMillis;
use baytrim_model::shop::MemberName;
use rustls_pki_types::{CertificateDer, ServerName, UnixTime};
use sha2::{Digest as _, Sha256};
use std::fmt::Write as _;
use std::time::Duration;
use webpki::{EndEntityCert, Error, KeyUsage};

/// Name under which a member stands in a certificate: members' names hold spaces, names of machines don't.
///
/// `internal` is nobody's domain: it is reserved for private use (ICANN, 2024; from memory).
pub fn member_host(member: &MemberName) -> String {
    let digest = Sha256::digest(member.key());
    let mut host = String::from("m-");
    // 160 bits, and within the 63 letters that a label may have (RFC 1035, 2.3.4).
    for byte in &digest[..20] {
        let _ = write!(host, "{byte:02x}");
    }
    host + ".baytrim.internal"
}

/// Returns whether a certificate, found good by the transport, is the member's own.
pub fn is_of(certificate: &CertificateDer<'_>, member: &MemberName) -> bool {
    let Ok(name) = ServerName::try_from(member_host(member)) else {
        return false;
    };
    let parsed = EndEntityCert::try_from(certificate);
    parsed.is_ok_and(|parsed| parsed.verify_is_valid_for_subject_name(&name).is_ok())
}

/// Returns the moment at which a certificate ends; none where it is no certificate that can be read.
///
/// It is asked for by checking it at the end of time: the check of dates comes before any of who signed it.
pub fn not_after(certificate: &CertificateDer<'_>) -> Option<UnixMillis> {
    let parsed = EndEntityCert::try_from(certificate).ok()?;
    let end = UnixTime::since_unix_epoch(Duration::from_secs(u64::from(u32::MAX) * 64));
    let usage = KeyUsage::server_auth();
    match parsed.verify_for_usage(&[], &[], &[], end, usage, None, None) {
        Err(Error::CertExpired { not_after, .. }) => {
            let ms = i64::try_from(not_after.as_secs()).ok()?.checked_mul(1000)?;
            Some(UnixMillis(ms))
        }
        _ => None,
    }
}

/// Returns the SHA-256 of a certificate as other tools print it: pairs of capitals with colons.
pub fn fingerprint(certificate: &CertificateDer<'_>) -> String {
    let pairs = Sha256::digest(certificate.as_ref());
    let pairs: Vec<String> = pairs.iter().map(|byte| format!("{byte:02X}")).collect();
    pairs.join(":")
}

/// Returns the day of a moment, `YYYY-MM-DD`.
pub(super) fn day(at: UnixMillis) -> String {
    let moment = jiff::Timestamp::from_millisecond(at.0).unwrap_or(jiff::Timestamp::MAX);
    moment.strftime("%Y-%m-%d").to_string()
}
