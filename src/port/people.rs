//! Names of users and groups, from the system's own lists.
//!
//! Promises: always an answer, the number where there is no name. Leaves to others: accounts that
//! live on a network and not in these files; they are told by number.

use std::fs;

const USERS: &str = "/etc/passwd";
const GROUPS: &str = "/etc/group";

/// The name of the user that this program runs as.
pub(super) fn who() -> String {
    user(rustix::process::geteuid().as_raw())
}

/// The name of a user.
pub(super) fn user(id: u32) -> String {
    name_in(&read(USERS), id).unwrap_or_else(|| format!("user {id}"))
}

/// The name of a group.
pub(super) fn group(id: u32) -> String {
    name_in(&read(GROUPS), id).unwrap_or_else(|| format!("group {id}"))
}

/// Whether a user is listed as a member of a group, whatever the running login knows of it.
pub(super) fn is_listed(user: &str, group: u32) -> bool {
    lists(&read(GROUPS), user, group)
}

fn read(path: &str) -> String {
    fs::read(path)
        .map(|bytes| String::from_utf8_lossy(&bytes).into_owned())
        .unwrap_or_default()
}

/// Both lists are lines of `name:password:number:...`.
fn name_in(list: &str, id: u32) -> Option<String> {
    list.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1)?.parse::<u32>().ok()? == id && !name.is_empty()).then(|| name.to_owned())
    })
}

fn lists(list: &str, user: &str, group: u32) -> bool {
    list.lines().any(|line| {
        let mut fields = line.split(':').skip(2);
        fields.next().and_then(|id| id.parse::<u32>().ok()) == Some(group)
            && fields
                .next()
                .is_some_and(|members| members.split(',').any(|member| member == user))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIST: &str = "root:x:0:\nbroken line\ndialout:x:20:anna,bo\n:x:7:\nplugdev:x:46:";

    #[test]
    fn names_are_found_by_number() {
        assert_eq!(name_in(LIST, 20).as_deref(), Some("dialout"));
        assert_eq!(name_in(LIST, 0).as_deref(), Some("root"));
        assert_eq!(name_in(LIST, 7), None);
        assert_eq!(name_in(LIST, 99), None);
    }

    #[test]
    fn members_are_whole_names() {
        assert!(lists(LIST, "bo", 20));
        assert!(!lists(LIST, "b", 20));
        assert!(!lists(LIST, "anna", 46));
        assert!(!lists(LIST, "anna", 0));
    }
}
