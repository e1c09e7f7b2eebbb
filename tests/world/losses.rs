//! Losses in the melt, as printed and as they follow from a mass balance.

use super::*;
use panbell::melt::Loss;

/// A finishing forum, name withheld: 4020 oz went in, 4005 came out, 15 oz or 0.373 per cent. A tenth of
/// it here, since 100 kg is the most that a melt may weigh.
#[test]
fn the_loss_of_a_printed_remelt() {
    let loss = Loss::of(&melt(&[("402.0 ozt", "14k")]), m("400.5 ozt")).unwrap();
    assert_eq!(loss.mass, m("1.5 ozt"));
    near(loss.ppt, "3.73", "0.005");
}

/// 100 g of 14 k lose 0.5 g; mass balance, no source needed. Zinc and copper go first and gold hardly
/// evaporates (a public article and a forum, names withheld), so the truth is nearer the first.
#[test]
fn half_a_gram_of_a_hundred_by_what_it_was() {
    let melted = melt(&[("100 g", "14k")]);
    let button = m("99.5 g");
    let loss = Loss::of(&melted, button).unwrap();
    // All zinc: the gold is still there, in less metal.
    near(loss.all_base.to_per_mille(3), "586.265", "0.0005");
    let zinc = melt(&[("99.5 g", "0 ppt")]).fineness().unwrap();
    assert!(zinc < loss.all_base && loss.all_base > f("14k"));
    // As it stands: the fineness stays, and 0.2917 g of gold are gone.
    assert_eq!(loss.as_it_stands, f("14k"));
    let left = melt(&[("99.5 g", "14k")]).gold();
    near(melted.gold().less(left).mass().grams(), "0.2917", "0.00005");
    // A button is never called finer than if all that was lost were base metal.
    assert!(loss.all_gold < loss.as_it_stands && loss.as_it_stands < loss.all_base);
}
