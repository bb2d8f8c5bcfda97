//! `pourday demo`: an invented studio to try, in a folder of its own.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::Args;

use super::serve::{say, serve};
use super::{CliFault, Where, block_on};
use crate::clock::Clock;
use crate::db::default_data_dir;
use crate::demo;
use crate::server::Config;

#[derive(Args, Debug)]
pub(crate) struct Demo {
    /// The folder of the demo's own database
    #[arg(long, env = "POURDAY_DEMO_DATA")]
    data: Option<PathBuf>,
    /// The address to listen on
    #[arg(long, default_value = "127.0.0.1:7373")]
    listen: SocketAddr,
    /// The password of the demo's people; made up unless given
    #[arg(long)]
    password: Option<String>,
    /// Make the demo studio and stop, instead of serving it
    #[arg(long)]
    only_make: bool,
}

impl Demo {
    pub(crate) fn run(self) -> Result<(), CliFault> {
        let data = self.data.unwrap_or_else(|| default_data_dir().join("demo"));
        let place = Where { data: data.clone(), database_url: None };
        let config = Config { listen: self.listen, secure_cookies: false };
        let key_file = place.key_file();
        let (only_make, given) = (self.only_make, self.password);
        let address = self.listen;
        block_on(serve(
            (place, key_file),
            config,
            async move |pool| {
                if !demo::is_founded(pool).await? {
                    say(
                        "Making the demo studio: two months of orders, seen through the program's own pages.",
                    );
                    let password = given.unwrap_or_else(demo::made_up_password);
                    let tell = |what: &str| say(&format!("  {what}"));
                    let broke_off = demo::make(pool, Clock::system().now(), &password, tell)
                        .await
                        .map_err(|fault| CliFault::Refused(fault.to_string()))?;
                    if let Some(fault) = broke_off {
                        say(&format!(
                            "The story breaks off here, and the studio opens with what there is: {fault}"
                        ));
                    }
                }
                let Some(password) = demo::password(pool).await? else {
                    return Err(CliFault::Refused(format!(
                        "{} holds a studio that is not a finished demo; remove that folder, or give another one with --data",
                        data.display()
                    )));
                };
                say(&format!(
                    "Sign in at http://{address}/ as {} with the password: {password}",
                    demo::LOGIN
                ));
                say("(the maker is “tobin”, with the same password)");
                Ok(!only_make)
            },
            |address, _| say(&format!("The demo studio is open at http://{address}/")),
        ))
    }
}
