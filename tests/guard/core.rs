//! The real core with a disk that is quick: what it asks to be written is written, and told, at once.

use std::sync::Arc;

use panbell::job::{BenchRules, Effect, Event, Mark, Order, Record, State, Terms, step};
use panbell::mass::Moment;
use panbell::trouble::Trouble;

pub(crate) struct Core {
    state: Option<State>,
    written: u64,
    /// Check weights that are in their book.
    pub(crate) checked: u64,
    /// What came of the last order.
    pub(crate) answer: Option<Result<String, Trouble>>,
    /// The word that says yes to what was asked.
    pub(crate) asked: Option<Mark>,
}

impl Core {
    pub(crate) fn new(rules: Arc<BenchRules>) -> Self {
        Self {
            state: Some(State::new(rules, None)),
            written: 0,
            checked: 0,
            answer: None,
            asked: None,
        }
    }

    pub(crate) fn state(&self) -> &State {
        self.state.as_ref().unwrap()
    }

    /// Gives the records that the event brought, each with its number.
    #[must_use]
    pub(crate) fn event(&mut self, event: Event<'_>, at: Moment) -> Vec<(u64, Record)> {
        let (state, effects) = step(self.state.take().unwrap(), event, at);
        self.state = Some(state);
        let (mut records, mut then) = (Vec::new(), Vec::new());
        for effect in effects {
            match effect {
                Effect::Append { record, wait, .. } => {
                    let opens = matches!(*record, Record::Open(_));
                    self.written = if opens { 1 } else { self.written + 1 };
                    records.push((self.written, *record));
                    if wait {
                        then.push(Event::Written { n: self.written });
                    }
                }
                Effect::Check(checked) => {
                    self.checked += 1;
                    then.push(Event::Checked(Ok((self.checked, checked))));
                }
                Effect::Answer { answer, .. } => {
                    let word = answer.as_ref().err().and_then(|it| it.confirm.clone());
                    self.asked = word.map(|word| word.parse().unwrap());
                    self.answer = Some(answer.map(|done| done.text));
                }
                Effect::Ring(_) => {}
            }
        }
        for then in then {
            records.extend(self.event(then, at));
        }
        records
    }

    /// Gives an order, with a yes to what was asked, if one is given.
    #[must_use]
    pub(crate) fn order(
        &mut self,
        order: Order,
        confirm: Option<Mark>,
        at: Moment,
    ) -> Vec<(u64, Record)> {
        let terms = Terms {
            confirm,
            ..Terms::default()
        };
        let id = 1;
        self.event(Event::Order { id, order, terms }, at)
    }

    /// Gives an order; what it asked the last time is said yes to, and a question about the pan at once.
    #[must_use]
    pub(crate) fn order_and_mean_it(&mut self, order: Order, at: Moment) -> Vec<(u64, Record)> {
        let is_answer = matches!(order, Order::Answer(_));
        let confirm = self.asked.take();
        let mut records = self.order(order.clone(), confirm, at);
        if is_answer && let Some(confirm) = self.asked.take() {
            records.extend(self.order(order, Some(confirm), at));
        }
        records
    }
}
