//! The commands: one file each, output for people and `--json`.
//!
//! Exit codes: 0 done, 1 could not, 2 wrong usage, 3 done but a warning stands. Leaves to others:
//! every rule of the trade, and everything that happens in the service.

mod add;
mod answer;
mod assay;
mod button;
mod check_weight;
mod client;
mod close;
mod find;
mod follow;
mod key;
mod learn;
mod leave;
mod logs;
mod lot;
mod open;
mod output;
mod page;
mod pair;
mod plan;
mod proof;
mod reckon;
mod rehearse;
mod reweigh;
mod run;
mod shelf;
mod simulate;
mod take;
mod verify;
mod ways;
mod withdraw;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand};

use crate::settings::{Environment, Folders};
use crate::trouble::Trouble;
use output::Output;

/// The service behind a goldsmith's balance: it reads the balance, guards the unit, rings when the
/// pan comes within the window, and keeps job files that prove what was done.
#[derive(Debug, Parser)]
#[command(name = "panbell", version, about, max_term_width = 100)]
struct Cli {
    #[command(flatten)]
    common: Common,
    #[command(subcommand)]
    command: Command,
}

/// Options of every command.
#[derive(Debug, Args)]
struct Common {
    /// Keep settings, book and socket under this folder instead of the usual ones
    #[arg(long, global = true, value_name = "DIR")]
    home: Option<PathBuf>,
    /// Answer in JSON
    #[arg(long, global = true)]
    json: bool,
    /// Say more in the log; twice for everything
    #[arg(short, long, global = true, action = clap::ArgAction::Count)]
    verbose: u8,
}

/// Which bench an order is for.
#[derive(Debug, Clone, Args)]
struct BenchArg {
    /// The bench; the only one if there is one
    #[arg(long, value_name = "NAME")]
    bench: Option<String>,
}

/// What an order is given on.
#[derive(Debug, Args)]
struct OnArgs {
    #[command(flatten)]
    bench: BenchArg,
    /// The ticket that the order is for; refused if another is open
    #[arg(long, value_name = "TICKET")]
    ticket: Option<String>,
    /// Say yes to what the bench asked, by the word that it gave
    #[arg(long, value_name = "WORD")]
    confirm: Option<String>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Run the service
    Run(run::Run),
    /// Open a job
    Open(open::Open),
    /// The next load on the pan is a lot
    Lot(lot::Lot),
    /// Plan the metals to add anew
    Plan(plan::Plan),
    /// Weigh out the next planned addition
    Add(add::Add),
    /// Record what is on the pan now
    Take(take::Take),
    /// Set the last recorded mass aside; it stays in the file as withdrawn
    Withdraw(withdraw::Withdraw),
    /// Record the load that was recorded last as it lies on the pan now
    Reweigh(reweigh::Reweigh),
    /// Leave the weighing under way; nothing of it is recorded
    Leave(leave::Leave),
    /// The next load on the pan is the button
    Button(button::Button),
    /// Prove the button by its density, weighed in water
    Proof(proof::Proof),
    /// Enter what an assay found in the button
    Assay(assay::Assay),
    /// Weigh the check weight, or show what it was shown as over the months
    CheckWeight(check_weight::CheckWeight),
    /// Say what happened to the pan when the bench asks
    Answer(answer::Answer),
    /// Close the job and print its statement
    Close(close::Close),
    /// Find the balance's port, and what stands in its way
    Find(find::Find),
    /// Press the tare key of a balance that takes orders over its line
    Tare(key::Tare),
    /// Press the zero key of a balance that takes orders over its line
    Zero(key::Zero),
    /// Watch a bench live
    Follow(follow::Follow),
    /// Print the address of the bench's page, which lets a browser in
    Page(page::Page),
    /// Pair a device with the bench's page, list those that are paired, forget one
    Pair(pair::Pair),
    /// Show the shop's metals
    Shelf(shelf::Shelf),
    /// Learn how a balance speaks
    Learn(Box<learn::Learn>),
    /// Check job files against their chain
    Verify(verify::Verify),
    /// Reckon what to add, without a job or a balance
    Reckon(Box<reckon::Reckon>),
    /// Play a whole job here with nothing attached
    Rehearse(rehearse::Rehearse),
    /// Be a pretend balance on a pseudo-terminal, by itself
    Simulate(simulate::Simulate),
}

/// How a command ended well.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ended {
    Done,
    Warning,
}

/// Runs the command that was typed.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    let output = Output::new(cli.common.json);
    let result = match &cli.command {
        Command::Run(run) => run.run(&cli.common, &output),
        Command::Open(open) => open.run(&cli.common, &output),
        Command::Lot(lot) => lot.run(&cli.common, &output),
        Command::Plan(plan) => plan.run(&cli.common, &output),
        Command::Add(add) => add.run(&cli.common, &output),
        Command::Take(take) => take.run(&cli.common, &output),
        Command::Withdraw(withdraw) => withdraw.run(&cli.common, &output),
        Command::Reweigh(reweigh) => reweigh.run(&cli.common, &output),
        Command::Leave(leave) => leave.run(&cli.common, &output),
        Command::Button(button) => button.run(&cli.common, &output),
        Command::Proof(proof) => proof.run(&cli.common, &output),
        Command::Assay(assay) => assay.run(&cli.common, &output),
        Command::CheckWeight(check) => check.run(&cli.common, &output),
        Command::Answer(answer) => answer.run(&cli.common, &output),
        Command::Close(close) => close.run(&cli.common, &output),
        Command::Find(find) => find.run(&cli.common, &output),
        Command::Tare(tare) => tare.run(&cli.common, &output),
        Command::Zero(zero) => zero.run(&cli.common, &output),
        Command::Follow(follow) => follow.run(&cli.common, &output),
        Command::Page(page) => page.run(&cli.common, &output),
        Command::Pair(pair) => pair.run(&cli.common, &output),
        Command::Shelf(shelf) => shelf.run(&cli.common, &output),
        Command::Learn(learn) => learn.run(&cli.common, &output),
        Command::Verify(verify) => verify.run(&cli.common, &output),
        Command::Reckon(reckon) => reckon.run(&cli.common, &output),
        Command::Rehearse(rehearse) => rehearse.run(&output),
        Command::Simulate(simulate) => simulate.run(&cli.common, &output),
    };
    match result {
        Ok(Ended::Done) => ExitCode::SUCCESS,
        Ok(Ended::Warning) => ExitCode::from(3),
        Err(trouble) => {
            output.trouble(&trouble);
            ExitCode::FAILURE
        }
    }
}

impl Common {
    /// The folders of a command that talks to no service.
    fn reading_folders(&self) -> Result<Folders, Trouble> {
        match &self.home {
            Some(home) => Ok(Folders::under(home)),
            None => Folders::without_runtime(&Environment::of_this_process()),
        }
    }

    fn folders(&self) -> Result<Folders, Trouble> {
        match &self.home {
            Some(home) => Ok(Folders::under(home)),
            None => Folders::of_user(&Environment::of_this_process()),
        }
    }
}
