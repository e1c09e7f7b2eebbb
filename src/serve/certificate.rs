//! The certificate that other devices know this bench by: made here, signed by itself.
//!
//! Promises: it and its key are kept where nobody else can read them, and stay the same from one
//! start to the next while the names are the same and its time is not nearly over; the key was
//! made for it. Leaves to others: listening, and who is let in. That nobody else vouches for it
//! is why a person compares its fingerprint.

use std::io;
use std::path::Path;
use std::sync::Arc;

use jiff::civil::Date;
use jiff::{Timestamp, ToSpan as _, tz::TimeZone};
use rcgen::{
    CertificateParams, DistinguishedName, DnType, ExtendedKeyUsagePurpose, KeyPair,
    KeyUsagePurpose, date_time_ymd,
};
use rustls::ServerConfig;
use rustls_pki_types::pem::PemObject as _;
use rustls_pki_types::{CertificateDer, PrivateKeyDer};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::secret;

/// The file of certificate and key in the state folder.
const KEPT: &str = "page-certificate.json";
/// The certificate alone, for whoever wants to give it to a device or a program.
const PUBLIC: &str = "page-certificate.pem";
/// For how many days from today it is good. 825 were the most by the CA/Browser Forum's Baseline
/// Requirements (6.3.2, from March 2018), and tablets still hold private certificates to them; it
/// begins a day early, since a tablet's clock may be behind.
const DAYS: i64 = 825 - 2;
/// How many days before its end it is made anew, at a start.
const RENEWED: i64 = 60;
/// The largest file that is read.
const LARGEST: u64 = 64 * 1024;

/// A certificate with its key.
#[derive(Debug, Serialize, Deserialize)]
struct Kept {
    /// The names that it is for, sorted.
    names: Vec<String>,
    /// Its last day, UTC.
    until: String,
    certificate: String,
    key: String,
}

/// What TLS is spoken with.
#[derive(Debug)]
pub(super) struct Identity {
    pub(super) tls: Arc<ServerConfig>,
    /// SHA-256 of the certificate, in pairs of capital hexadecimal digits, as browsers show it.
    pub(super) fingerprint: String,
    /// Whether it was made just now.
    pub(super) is_new: bool,
}

/// The certificate for these names; made when there is none that is good.
pub(super) fn kept(folder: &Path, names: &[String]) -> io::Result<Identity> {
    let today = TimeZone::UTC.to_datetime(Timestamp::now()).date();
    let names = &sorted(names);
    let ahead = |days: i64| today.checked_add(days.days()).map_err(io::Error::other);
    let (soon, longest) = (ahead(RENEWED)?, ahead(DAYS)?);
    let enough = |kept: &Kept| {
        let until = kept.until.parse::<Date>();
        // One that lasts too long was made while the clock was wrong, and has not begun yet.
        kept.names == *names && until.is_ok_and(|until| soon < until && until <= longest)
    };
    let old = secret::read_private(&folder.join(KEPT), LARGEST)?
        .and_then(|bytes| serde_json::from_slice::<Kept>(&bytes).ok())
        .filter(enough)
        .and_then(|kept| identity(&kept, false).ok());
    if let Some(old) = old {
        return Ok(old);
    }
    let made = make(names, today)?;
    let identity = identity(&made, true)?;
    secret::write(folder, KEPT, &serde_json::to_vec(&made)?)?;
    secret::write(folder, PUBLIC, made.certificate.as_bytes())?;
    Ok(identity)
}

fn sorted(names: &[String]) -> Vec<String> {
    let mut names = names.to_vec();
    names.sort();
    names
}

fn make(names: &[String], today: Date) -> io::Result<Kept> {
    let day = |days: i64| today.checked_add(days.days()).map_err(io::Error::other);
    let (from, until) = (day(-1)?, day(DAYS)?);
    let midnight = |date: Date| -> io::Result<_> {
        let part = |part: i8| u8::try_from(part).map_err(io::Error::other);
        Ok(date_time_ymd(
            date.year().into(),
            part(date.month())?,
            part(date.day())?,
        ))
    };
    let mut about = CertificateParams::new(names).map_err(io::Error::other)?;
    about.distinguished_name = DistinguishedName::new();
    about
        .distinguished_name
        .push(DnType::CommonName, "panbell bench");
    about.not_before = midnight(from)?;
    about.not_after = midnight(until)?;
    about.key_usages = vec![KeyUsagePurpose::DigitalSignature];
    about.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
    let key = KeyPair::generate().map_err(io::Error::other)?;
    let certificate = about.self_signed(&key).map_err(io::Error::other)?;
    Ok(Kept {
        names: names.to_vec(),
        until: until.to_string(),
        certificate: certificate.pem(),
        key: key.serialize_pem(),
    })
}

fn identity(kept: &Kept, is_new: bool) -> io::Result<Identity> {
    let certificate =
        CertificateDer::from_pem_slice(kept.certificate.as_bytes()).map_err(io::Error::other)?;
    let key = PrivateKeyDer::from_pem_slice(kept.key.as_bytes()).map_err(io::Error::other)?;
    let fingerprint = fingerprint(&certificate);
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let mut tls = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(io::Error::other)?
        .with_no_client_auth()
        // Refuses a key that is not that of the certificate.
        .with_single_cert(vec![certificate], key)
        .map_err(io::Error::other)?;
    tls.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(Identity {
        tls: Arc::new(tls),
        fingerprint,
        is_new,
    })
}

fn fingerprint(certificate: &CertificateDer<'_>) -> String {
    let hash: [u8; 32] = Sha256::digest(certificate).into();
    let pairs: Vec<String> = hash.iter().map(|byte| format!("{byte:02X}")).collect();
    pairs.join(":")
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
mod tests {
    use std::fs;
    use std::os::unix::fs::PermissionsExt as _;

    use super::*;

    fn names(all: &[&str]) -> Vec<String> {
        all.iter().map(|&name| name.to_owned()).collect()
    }

    #[test]
    fn it_stays_until_its_names_change_or_others_could_have_read_it() {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("state");
        let one = names(&["bench.local", "192.0.2.7", "fd00::2"]);
        let first = kept(&folder, &one).unwrap();
        assert!(first.is_new);
        assert_eq!(first.fingerprint.len(), 95);
        let path = folder.join(KEPT);
        assert_eq!(
            fs::metadata(&path).unwrap().permissions().mode() & 0o777,
            0o600
        );
        let mut turned = one.clone();
        turned.reverse();
        let again = kept(&folder, &turned).unwrap();
        assert_eq!(
            (again.fingerprint, again.is_new),
            (first.fingerprint.clone(), false)
        );

        let other = kept(&folder, &names(&["bench.local"])).unwrap();
        assert!(other.is_new);
        assert_ne!(other.fingerprint, first.fingerprint);

        fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
        let third = kept(&folder, &names(&["bench.local"])).unwrap();
        assert_ne!(third.fingerprint, other.fingerprint);
    }

    #[test]
    fn one_that_is_nearly_over_or_does_not_fit_its_key_is_made_anew() {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path();
        let one = names(&["bench.local"]);
        let today = TimeZone::UTC.to_datetime(Timestamp::now()).date();
        let put = |kept: &Kept| {
            secret::write(folder, KEPT, &serde_json::to_vec(kept).unwrap()).unwrap();
        };
        let day = |days: i64| today.checked_add(days.days()).unwrap();
        let long = make(&one, day(RENEWED + 1 - DAYS)).unwrap();
        put(&long);
        assert!(!kept(folder, &one).unwrap().is_new);
        for odd in [RENEWED - DAYS, 1] {
            put(&make(&one, day(odd)).unwrap());
            assert!(kept(folder, &one).unwrap().is_new, "{odd}");
        }

        let mut crossed = make(&one, today).unwrap();
        crossed.key = long.key;
        put(&crossed);
        assert!(kept(folder, &one).unwrap().is_new);
        secret::write(folder, KEPT, b"{").unwrap();
        assert!(kept(folder, &one).unwrap().is_new);
    }
}
