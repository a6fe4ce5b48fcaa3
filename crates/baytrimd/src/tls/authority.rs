//! The shop's own authority: a key that signs the daemon's certificate and those of bays.

use std::path::{Path, PathBuf};
use std::time::Duration;

use baytrim_model::ids::UnixMillis;
use baytrim_model::shop::MemberName;
use rcgen::{
    BasicConstraints, CertificateParams, DistinguishedName, DnType, ExtendedKeyUsagePurpose, IsCa,
    Issuer, KeyPair, KeyUsagePurpose, PublicKeyData as _,
};
use rustls_pki_types::ServerName;
use sha2::{Digest as _, Sha256};

use super::TlsError;
use super::certificate::member_host;
use super::files::{self, AUTHORITY_FILE, AUTHORITY_KEY_FILE, SERVER_FILE};

/// Days that the authority is good for: ten years, the life of a shop's machines.
pub const AUTHORITY_DAYS: u32 = 3660;

/// Days that a certificate is good for where nobody says another number: a year and a month to renew it in.
pub const SERVER_DAYS: u32 = 397;

/// Names that every certificate of a daemon holds: those of its own machine.
pub const LOOPBACK_NAMES: [&str; 3] = ["localhost", "127.0.0.1", "::1"];

/// Time before now from which certificates are good, in days: a bay's clock may be behind.
const CLOCK_DAYS: u32 = 1;

const DAY_S: u64 = 24 * 3600;

/// The shop's own authority.
pub struct Authority {
    directory: PathBuf,
    issuer: Issuer<'static, KeyPair>,
}

impl Authority {
    /// Makes the authority in `directory`, which is made for its owner only where there is none.
    ///
    /// # Errors
    /// When there is one already, or files can't be written.
    pub fn make(directory: &Path, at: UnixMillis) -> Result<Self, TlsError> {
        let path = directory.join(AUTHORITY_FILE);
        let key_path = directory.join(AUTHORITY_KEY_FILE);
        if path.exists() || key_path.exists() {
            return Err(TlsError::AuthorityExists { path });
        }
        let mut builder = std::fs::DirBuilder::new();
        builder.recursive(true);
        #[cfg(unix)]
        std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
        builder.create(directory).map_err(|source| TlsError::File {
            path: directory.to_owned(),
            verb: "written",
            source,
        })?;
        let key = KeyPair::generate().map_err(TlsError::Make)?;
        let params = params_of_authority(&key, at);
        let certificate = params.self_signed(&key).map_err(TlsError::Make)?;
        files::save(&key_path, &key.serialize_pem(), true)?;
        files::save(&path, &certificate.pem(), false)?;
        Ok(Self {
            directory: directory.to_owned(),
            issuer: Issuer::new(params, key),
        })
    }

    /// Reads the authority in `directory`.
    ///
    /// # Errors
    /// When there is none, or its key can't be used.
    pub fn open(directory: &Path) -> Result<Self, TlsError> {
        let path = directory.join(AUTHORITY_KEY_FILE);
        if !path.is_file() {
            return Err(TlsError::NoAuthority { path });
        }
        let bytes = files::read_key(&path)?;
        let text = String::from_utf8_lossy(&bytes);
        let key = KeyPair::from_pem(&text).map_err(|_| TlsError::Content {
            path,
            problem: "holds no key that can sign".to_owned(),
            remedy: "put back the one that `baytrimd tls init` wrote",
        })?;
        // Only the name matters for signing, and it follows from the key.
        let params = params_of_authority(&key, UnixMillis(0));
        Ok(Self {
            directory: directory.to_owned(),
            issuer: Issuer::new(params, key),
        })
    }

    /// Returns the file with the authority's own certificate.
    pub fn path(&self) -> PathBuf {
        self.directory.join(AUTHORITY_FILE)
    }

    /// Makes the daemon's certificate for `names` and those of its own machine; returns its file.
    ///
    /// # Errors
    /// When a name can't stand in a certificate, or the file can't be written.
    pub fn make_server(
        &self,
        names: &[String],
        (at, days): (UnixMillis, u32),
    ) -> Result<PathBuf, TlsError> {
        let mut all: Vec<String> = LOOPBACK_NAMES.map(str::to_owned).into();
        for name in names {
            check_name(name)?;
            if !all.contains(name) {
                all.push(name.clone());
            }
        }
        let mut params = params(all, "Baytrim daemon", (at, days))?;
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        let path = self.directory.join(SERVER_FILE);
        files::save(&path, &self.signed(&params)?, true)?;
        files::save_names(&self.directory, names)?;
        Ok(path)
    }

    /// Makes a certificate that shows a member; returns it with its key, as text for a PEM file.
    ///
    /// # Errors
    /// When it can't be made.
    pub fn make_member(
        &self,
        member: &MemberName,
        (at, days): (UnixMillis, u32),
    ) -> Result<String, TlsError> {
        let mut params = params(vec![member_host(member)], member.as_str(), (at, days))?;
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ClientAuth];
        self.signed(&params)
    }

    fn signed(&self, params: &CertificateParams) -> Result<String, TlsError> {
        let key = KeyPair::generate().map_err(TlsError::Make)?;
        let made = params.signed_by(&key, &self.issuer);
        Ok(made.map_err(TlsError::Make)?.pem() + &key.serialize_pem())
    }
}

fn check_name(name: &str) -> Result<(), TlsError> {
    match ServerName::try_from(name) {
        Ok(_) => Ok(()),
        Err(_) => Err(TlsError::Name {
            name: name.to_owned(),
        }),
    }
}

fn params(
    names: Vec<String>,
    common_name: &str,
    (at, days): (UnixMillis, u32),
) -> Result<CertificateParams, TlsError> {
    let mut params = CertificateParams::new(names).map_err(TlsError::Make)?;
    params.distinguished_name = named(common_name);
    params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
    params.use_authority_key_identifier_extension = true;
    set_time(&mut params, at, days);
    Ok(params)
}

/// The authority's name follows from its key, so that no two shops' authorities have the same.
fn params_of_authority(key: &KeyPair, at: UnixMillis) -> CertificateParams {
    let digest = Sha256::digest(key.subject_public_key_info());
    let number = u32::from_be_bytes([digest[0], digest[1], digest[2], digest[3]]);
    let mut params = CertificateParams::default();
    params.distinguished_name = named(&format!("Baytrim shop authority {number:08x}"));
    // It signs certificates of daemons and members, none of further authorities.
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
    set_time(&mut params, at, AUTHORITY_DAYS);
    params
}

fn named(common_name: &str) -> DistinguishedName {
    let mut name = DistinguishedName::new();
    name.push(DnType::CommonName, common_name);
    name
}

fn set_time(params: &mut CertificateParams, at: UnixMillis, days: u32) {
    let epoch = rcgen::date_time_ymd(1970, 1, 1);
    let now = epoch + Duration::from_secs(u64::try_from(at.0 / 1000).unwrap_or(0));
    let of = |days: u32| Duration::from_secs(u64::from(days) * DAY_S);
    params.not_before = now - of(CLOCK_DAYS);
    params.not_after = now + of(days);
}
