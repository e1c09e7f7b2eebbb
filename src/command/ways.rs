//! What may come next, as commands.

use crate::serve::ActionView;

/// The orders that the bench would take now, one line, the likeliest first.
pub(super) fn ways(actions: &[ActionView]) -> String {
    let ways: Vec<String> = actions.iter().filter_map(way).collect();
    if ways.is_empty() {
        return String::new();
    }
    format!("Next: {}", ways.join("; "))
}

fn way(action: &ActionView) -> Option<String> {
    let command = match action.action.as_str() {
        "open" => "open TICKET --target 18k --colour yellow",
        "lot" => "lot FINENESS BASIS",
        "reweigh" => "reweigh",
        "plan" => "plan --add METAL",
        "add" => "add",
        "add-other" => "add --with METAL",
        "take" => "take",
        "withdraw" => "withdraw",
        "button" => "button",
        "proof" => "proof",
        "assay" => "assay FINENESS BASIS",
        "back" => "answer back",
        "tared" => "answer tared",
        "anew" => "answer anew",
        "leave" => "leave",
        "check-weight" if action.order.is_none() => "check-weight --mass \"20 g\" --class F2",
        "check-weight" => "check-weight",
        "close" => "close",
        // Of those that are known later, and the plan without its next metal: that is typed as a plan.
        _ => return None,
    };
    let about = match (&action.mass, &action.name) {
        (Some(mass), Some(name)) => format!(" ({name}, {mass})"),
        (None, Some(name)) if action.action != "take" => format!(" ({name})"),
        _ => String::new(),
    };
    Some(format!("panbell {command}{about}"))
}
