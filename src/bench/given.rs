//! The orders that a bench was given: who waits for which answer, and which were carried out already.
//!
//! Promises: an order that comes twice with one id happens once, also while it is still under way, and
//! also one that leaves no record; each who gave it is answered. Leaves to others: carrying it out, and
//! the ids in the job file, which outlive a restart.

use std::collections::{BTreeMap, VecDeque};

use tokio::sync::oneshot;

use crate::job::{Done, OrderId};
use crate::serve::{Refusal, Wish};
use crate::trouble::Trouble;

/// Orders that were carried out and are remembered: far more than are under way at once.
const REMEMBERED: usize = 64;

/// Where an order is answered.
pub(super) type Reply = oneshot::Sender<Result<Done, Refusal>>;

/// The orders of one bench.
#[derive(Default)]
pub(super) struct Given {
    last: u64,
    under_way: BTreeMap<u64, UnderWay>,
    done: VecDeque<(OrderId, Wish, Done)>,
}

struct UnderWay {
    id: Option<OrderId>,
    wish: Wish,
    replies: Vec<Reply>,
}

impl Given {
    /// Takes an order: gives its number if it is to be carried out now, and nothing where it was
    /// already or is under way.
    pub(super) fn take(&mut self, wish: &Wish, id: Option<&OrderId>, reply: Reply) -> Option<u64> {
        if let Some(id) = id {
            let mut all = self.under_way.values_mut();
            if let Some(same) = all.find(|it| it.id.as_ref() == Some(id)) {
                if same.wish == *wish {
                    same.replies.push(reply);
                } else {
                    refuse(reply, used(id));
                }
                return None;
            }
            if let Some((_, was, done)) = self.done.iter().find(|(known, ..)| known == id) {
                let answer = if was == wish {
                    Ok(done.clone())
                } else {
                    Err(used(id))
                };
                tell(reply, answer.map_err(bare));
                return None;
            }
        }
        self.last += 1;
        let under_way = UnderWay {
            id: id.cloned(),
            wish: wish.clone(),
            replies: vec![reply],
        };
        self.under_way.insert(self.last, under_way);
        Some(self.last)
    }

    /// Answers an order, and remembers it if it was carried out.
    pub(super) fn answer(&mut self, number: u64, answer: &Result<Done, Refusal>) {
        let Some(UnderWay { id, wish, replies }) = self.under_way.remove(&number) else {
            return;
        };
        if let (Some(id), Ok(done)) = (id, answer) {
            if self.done.len() == REMEMBERED {
                self.done.pop_front();
            }
            self.done.push_back((id, wish, done.clone()));
        }
        for reply in replies {
            tell(reply, answer.clone());
        }
    }
}

fn tell(reply: Reply, answer: Result<Done, Refusal>) {
    // A client that left is no trouble of the bench.
    let _gone = reply.send(answer);
}

fn refuse(reply: Reply, trouble: Trouble) {
    tell(reply, Err(bare(trouble)));
}

fn bare(trouble: Trouble) -> Refusal {
    let bench = None;
    Refusal { trouble, bench }
}

fn used(id: &OrderId) -> Trouble {
    Trouble::new(
        "order-id-used",
        format!("Another order was given with the id {id} before."),
        "This one was not carried out.",
        "Give each order an id of its own.",
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::balance::Key;
    use crate::job::Order;

    fn id(text: &str) -> OrderId {
        text.parse().unwrap()
    }

    fn done(text: &str) -> Done {
        Done {
            text: text.to_owned(),
            warning: false,
        }
    }

    #[test]
    fn an_order_with_an_id_happens_once_and_each_who_gave_it_is_answered() {
        let (mut given, take) = (Given::default(), Wish::Order(Order::Take));
        let (id, other) = (id("an-id-of-its-own"), id("another-id"));
        let mut answers = Vec::new();
        let mut give = |given: &mut Given, wish: &Wish, id: Option<&OrderId>| {
            let (reply, answer) = oneshot::channel();
            answers.push(answer);
            given.take(wish, id, reply)
        };
        let first = give(&mut given, &take, Some(&id)).unwrap();
        assert_eq!(give(&mut given, &take, Some(&id)), None, "under way");
        given.answer(first, &Ok(done("taken")));
        assert_eq!(give(&mut given, &take, Some(&id)), None, "carried out");
        assert_eq!(give(&mut given, &Wish::Press(Key::Tare), Some(&id)), None);
        // One that was refused may be given again, and one without an id is another each time.
        let second = give(&mut given, &take, Some(&other)).unwrap();
        given.answer(second, &Err(bare(used(&other))));
        let again = give(&mut given, &take, Some(&other)).unwrap();
        let bare = give(&mut given, &take, None).unwrap();
        assert!(give(&mut given, &take, None).unwrap() > bare && bare > again);
        let told: Vec<_> = answers.iter_mut().map(|it| it.try_recv().ok()).collect();
        assert_eq!(
            told[..3],
            [
                Some(Ok(done("taken"))),
                Some(Ok(done("taken"))),
                Some(Ok(done("taken")))
            ]
        );
        assert_eq!(
            told[3].as_ref().unwrap().as_ref().unwrap_err().trouble.code,
            "order-id-used"
        );
        assert_eq!(told[5..], [None, None, None]);
    }
}
