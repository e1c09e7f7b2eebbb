//! `panbell pair`: let a device of the shop in, see which are in, shut one out.

use std::fmt::Write as _;

use clap::Args;

use super::client::{Client, runtime};
use super::output::Output;
use super::{BenchArg, Common, Ended};
use crate::serve::{BenchView, CodeView, DeviceView, ForgetBody, ForgottenView};
use crate::trouble::Trouble;

/// Show a code that pairs a device with the bench's page
#[derive(Debug, Args)]
pub(super) struct Pair {
    #[command(flatten)]
    bench: BenchArg,
    /// List the devices that are paired
    #[arg(long, conflicts_with_all = ["forget", "bench"])]
    list: bool,
    /// Forget a device, or all: what it has open ends at once
    #[arg(long, value_name = "NAME|all", conflicts_with = "bench")]
    forget: Option<String>,
}

impl Pair {
    pub(super) fn run(&self, common: &Common, output: &Output) -> Result<Ended, Trouble> {
        let client = Client::of(common)?;
        let work = async {
            if self.list {
                list(&client, output).await
            } else if let Some(device) = &self.forget {
                forget(&client, output, device).await
            } else {
                self.show(&client, output).await
            }
        };
        runtime()?.block_on(work)?;
        Ok(Ended::Done)
    }

    async fn show(&self, client: &Client, output: &Output) -> Result<(), Trouble> {
        // The page of the bench that was named; of a bench that there is not, no code is shown.
        let bench: Option<BenchView> = match self.bench.bench.as_deref() {
            Some(name) => Some(client.bench(Some(name)).await?),
            None => None,
        };
        let mut view: CodeView = client.post("/v1/pair", &()).await?;
        if let Some(bench) = &bench {
            for address in &mut view.addresses {
                let _never_fails = write!(address, "bench/{}", bench.bench);
            }
        }
        output.say(&text(&view), &view);
        Ok(())
    }
}

fn text(view: &CodeView) -> String {
    let (first, last) = view.code.split_at_checked(4).unwrap_or((&view.code, ""));
    format!(
        "Code {first} {last}, good once, for {} minutes.\n\
         On the device, open {}\n\
         and go on only if the certificate that it warns of has the SHA-256 fingerprint\n{}",
        view.seconds / 60,
        view.addresses.join(" or "),
        view.fingerprint
    )
}

async fn list(client: &Client, output: &Output) -> Result<(), Trouble> {
    let devices: Vec<DeviceView> = client.get("/v1/devices").await?;
    let mut text = String::new();
    for device in &devices {
        let _never_fails = writeln!(text, "{}  {}", device.paired_at, device.name);
    }
    if devices.is_empty() {
        text.push_str("No device is paired.");
    }
    output.say(&text, &devices);
    Ok(())
}

async fn forget(client: &Client, output: &Output, device: &str) -> Result<(), Trouble> {
    let body = ForgetBody {
        device: device.to_owned(),
    };
    let view: ForgottenView = client.post("/v1/devices/forget", &body).await?;
    let text = if view.forgotten.is_empty() {
        "No device was paired.".to_owned()
    } else {
        format!("Forgotten: {}.", view.forgotten.join(", "))
    };
    output.say(&text, &view);
    Ok(())
}
