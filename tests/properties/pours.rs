//! What a hand does at a pan that is heard badly, and what happens to the line meanwhile.

use proptest::prelude::*;

use super::truth::Trouble;

/// What a hand does.
#[derive(Debug, Clone)]
pub(crate) enum Act {
    /// What comes next is ordered: which, and how long the hand then waits.
    Order(u8, u64),
    /// Metal comes on the pan, is left alone for a while, and goes on to another mass.
    Weigh(Pour),
    /// Everything is taken off.
    Empty(u64, u64),
    /// It is weighed out to somewhere in the window, or beside it by so many hundredths of its
    /// width, and then to somewhere else.
    WeighOut(i64, i64, Pour),
    /// A lot, an addition or whatever is next, as a person does it: ordered, put on when the bench
    /// is ready, taken off.
    Whole(u8, i64, i64, Pour),
    /// A vessel is put there, or is taken away.
    Dish(u64),
    Take(u64),
    Anew(u64),
    /// The hand is away until all is said and done.
    Rest(u64),
}

#[derive(Debug, Clone, Copy)]
pub(crate) struct Pour {
    /// Divisions on the way, in the end, and how long it takes to get there.
    pub(crate) first: i64,
    pub(crate) then: i64,
    pub(crate) over: (u64, u64),
    pub(crate) pause: u64,
    pub(crate) rests: u64,
    /// What happens to the line: how, when, and for how long.
    pub(crate) trouble: Option<(Trouble, u64, u64)>,
}

fn trouble() -> impl Strategy<Value = Trouble> {
    prop_oneof![
        Just(Trouble::Parcel),
        Just(Trouble::Drip),
        Just(Trouble::Slowly),
        Just(Trouble::Lost),
        Just(Trouble::Stopped),
    ]
}

fn pour() -> impl Strategy<Value = Pour> {
    let over = || prop_oneof![1_u64..200, 1_u64..4000];
    let masses = prop_oneof![
        3 => (20_i64..2500, 20_i64..2500),
        1 => (20_i64..2500).prop_map(|mass| (mass, mass)),
        1 => (20_i64..2500, -4_i64..5).prop_map(|(mass, more)| (mass, mass + more)),
    ];
    let pause = prop_oneof![Just(0_u64), 1_u64..1500, 800_u64..4000];
    let rests = prop_oneof![300_u64..2500, 2500_u64..9000];
    let when = (trouble(), 0_u64..5000, 300_u64..2950);
    (
        masses,
        (over(), over()),
        pause,
        rests,
        prop::option::weighted(0.75, when),
    )
        .prop_map(|((first, then), over, pause, rests, trouble)| Pour {
            first,
            then,
            over,
            pause,
            rests,
            trouble,
        })
}

pub(crate) fn act() -> impl Strategy<Value = Act> {
    let wait = || prop_oneof![0_u64..300, 500_u64..2500];
    prop_oneof![
        3 => (any::<u8>(), wait()).prop_map(|(which, wait)| Act::Order(which, wait)),
        3 => pour().prop_map(Act::Weigh),
        3 => (1_u64..400, 0_u64..3000).prop_map(|(over, wait)| Act::Empty(over, wait)),
        3 => (-60_i64..160, -60_i64..300, pour()).prop_map(|(first, then, pour)| Act::WeighOut(first, then, pour)),
        9 => (any::<u8>(), 0_i64..100, -20_i64..300, pour()).prop_map(|(which, first, then, pour)| {
            Act::Whole(which, first, then, pour)
        }),
        1 => (0_u64..1500).prop_map(Act::Dish),
        2 => (0_u64..1500).prop_map(Act::Take),
        1 => (0_u64..1500).prop_map(Act::Anew),
        2 => (1500_u64..9000).prop_map(Act::Rest),
    ]
}
