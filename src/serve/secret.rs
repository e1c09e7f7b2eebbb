//! Secrets: made at random, kept in a file that nobody else can read, compared without a trace.
//!
//! Promises: a secret that others could have read is not used again; comparing takes as long for
//! a wrong one as for the right one. Leaves to others: what a secret opens.

use std::fs::{File, OpenOptions};
use std::io::{self, Read as _, Write as _};
use std::os::unix::fs::{DirBuilderExt as _, MetadataExt as _, OpenOptionsExt as _};
use std::path::Path;

use rustix::rand::{GetRandomFlags, getrandom};
use sha2::{Digest as _, Sha256};

/// Bytes of a secret: twice the 128 bits that nobody can guess.
const LONG: usize = 32;

/// An id that nobody else gives an order.
pub fn random_id() -> String {
    random::<16>()
}

/// Random bytes from the kernel, in lower-case hexadecimal.
pub(super) fn random<const BYTES: usize>() -> String {
    hex(&random_bytes::<BYTES>())
}

/// Random bytes from the kernel.
pub(super) fn random_bytes<const BYTES: usize>() -> [u8; BYTES] {
    let mut bytes = [0; BYTES];
    let mut filled = 0;
    while let Some(rest) = bytes.get_mut(filled..).filter(|rest| !rest.is_empty()) {
        match getrandom(rest, GetRandomFlags::empty()) {
            Ok(count) => filled += count,
            // Up to 256 bytes are always given once the kernel has started (getrandom(2)); a
            // signal may come before that.
            Err(_) => std::thread::yield_now(),
        }
    }
    bytes
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    let mut text = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        let _never_fails = write!(text, "{byte:02x}");
    }
    text
}

/// What is kept of a secret to compare others with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Seal([u8; 32]);

impl Seal {
    /// Of a secret.
    pub(super) fn of(secret: &str) -> Self {
        Self(Sha256::digest(secret.as_bytes()).into())
    }

    /// As it is kept in a file, from which no secret follows.
    pub(super) fn written(&self) -> String {
        hex(&self.0)
    }

    /// One that was written.
    pub(super) fn read(text: &str) -> Option<Self> {
        let digits = text.len() == 64 && text.bytes().all(|b| b.is_ascii_hexdigit());
        let mut bytes = [0; 32];
        for (byte, at) in bytes.iter_mut().zip((0..).step_by(2)) {
            *byte = u8::from_str_radix(text.get(at..at + 2)?, 16).ok()?;
        }
        digits.then_some(Self(bytes))
    }

    /// Whether it is of this text. Digests are compared, so how long it takes tells about the
    /// digest of a guess, from which nothing about the secret follows.
    pub(super) fn fits(&self, text: &str) -> bool {
        *self == Self::of(text)
    }
}

/// The secret in a file of the state folder; made when there is none, or when others could have
/// read it.
pub(super) fn kept(folder: &Path, name: &str) -> io::Result<String> {
    let path = folder.join(name);
    if let Some(secret) = read(&path)? {
        return Ok(secret);
    }
    let secret = random::<LONG>();
    write(folder, name, secret.as_bytes())?;
    Ok(secret)
}

fn read(path: &Path) -> io::Result<Option<String>> {
    Ok(read_private(path, 4096)?
        .and_then(|bytes| String::from_utf8(bytes).ok())
        .map(|text| text.trim_end().to_owned())
        .filter(|text| text.len() == 2 * LONG && text.bytes().all(|b| b.is_ascii_hexdigit())))
}

/// A file that is ours and that nobody else could read; none when there is no such file.
pub(super) fn read_private(path: &Path, most: u64) -> io::Result<Option<Vec<u8>>> {
    let nofollow = i32::try_from(rustix::fs::OFlags::NOFOLLOW.bits()).unwrap_or(0);
    let nonblock = i32::try_from(rustix::fs::OFlags::NONBLOCK.bits()).unwrap_or(0);
    let file = match OpenOptions::new()
        .read(true)
        .custom_flags(nofollow | nonblock)
        .open(path)
    {
        Ok(file) => file,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        // A link in its place: it is replaced, not followed.
        Err(error) if error.raw_os_error() == Some(rustix::io::Errno::LOOP.raw_os_error()) => {
            return Ok(None);
        }
        Err(error) => return Err(error),
    };
    let about = file.metadata()?;
    // The last six bits are what the group and the others may do.
    let ours = about.is_file()
        && about.uid() == rustix::process::geteuid().as_raw()
        && about.mode().trailing_zeros() >= 6;
    if !ours {
        return Ok(None);
    }
    let mut bytes = Vec::new();
    file.take(most).read_to_end(&mut bytes)?;
    Ok(Some(bytes))
}

/// Puts a file that nobody else can read in place of what there was, whole or not at all.
pub(super) fn write(folder: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
    std::fs::DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(folder)?;
    let new = folder.join(format!("{name}.new"));
    match std::fs::remove_file(&new) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    let mut file: File = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(&new)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    std::fs::rename(&new, folder.join(name))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
mod tests {
    use std::fs;
    use std::os::unix::fs::PermissionsExt as _;

    use super::*;

    #[test]
    fn a_secret_is_long_and_never_the_same() {
        let one = random::<LONG>();
        assert_eq!(one.len(), 64);
        assert_ne!(one, random::<LONG>());
        assert!(Seal::of(&one).fits(&one));
        assert!(!Seal::of(&one).fits(&one[1..]));
        assert!(!Seal::of(&one).fits(""));
        let seal = Seal::of(&one);
        assert_eq!(Seal::read(&seal.written()), Some(seal));
        for odd in [
            "",
            "00",
            &"g".repeat(64),
            &"\u{fffd}".repeat(64),
            &"0".repeat(65),
        ] {
            assert_eq!(Seal::read(odd), None, "{odd}");
        }
    }

    #[test]
    fn it_is_kept_and_one_that_others_could_read_is_not() {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("state/deeper");
        let first = kept(&folder, "token").unwrap();
        let path = folder.join("token");
        let mode = |path: &Path| fs::metadata(path).unwrap().mode() & 0o777;
        assert_eq!(mode(&path), 0o600);
        assert_eq!(mode(&folder), 0o700);
        assert_eq!(kept(&folder, "token").unwrap(), first);

        fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
        let second = kept(&folder, "token").unwrap();
        assert_ne!(second, first);
        assert_eq!(mode(&path), 0o600);

        for odd in [&b""[..], b"short", &[0xff; 64], &[b'g'; 64], &[b'a'; 5000]] {
            write(&folder, "token", odd).unwrap();
            let made = kept(&folder, "token").unwrap();
            assert_eq!((made.len(), made == second), (64, false));
        }
        let elsewhere = folder.join("elsewhere");
        write(&folder, "elsewhere", first.as_bytes()).unwrap();
        fs::remove_file(&path).unwrap();
        std::os::unix::fs::symlink(&elsewhere, &path).unwrap();
        assert_ne!(
            kept(&folder, "token").unwrap(),
            first,
            "a link is not followed"
        );
        assert_eq!(fs::read_to_string(&elsewhere).unwrap(), first);
    }
}
