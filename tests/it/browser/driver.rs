//! A real browser: headless Chromium behind its driver, and what a person does with it.

use std::os::unix::process::CommandExt;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use fantoccini::elements::Element;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use nix::sys::signal::{Signal, killpg};
use nix::unistd::Pid;
use serde_json::{Value, json};

/// The browser and its driver; both end with the value.
pub(crate) struct Browser {
    pub(crate) client: Client,
    pub(crate) base: String,
    _driver: Driver,
    _profile: tempfile::TempDir,
}

/// The driver leads a process group of its own, so that the browsers it started end with it.
struct Driver(Child);

impl Drop for Driver {
    fn drop(&mut self) {
        if let Ok(group) = i32::try_from(self.0.id()) {
            let _ = killpg(Pid::from_raw(group), Signal::SIGKILL);
        }
        let _ = self.0.wait();
    }
}

fn free_port() -> u16 {
    std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

/// Where pictures of the walk are put.
pub(crate) fn pictures() -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("pictures");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

impl Browser {
    /// Opens a browser that looks at `base`.
    pub(crate) async fn open(base: &str) -> Self {
        let port = free_port();
        let driver = Command::new("chromedriver")
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .process_group(0)
            .spawn()
            .expect("the browser test needs chromium and chromedriver; on Debian: apt-get install chromium chromium-driver");
        let driver = Driver(driver);
        let profile = tempfile::tempdir().unwrap();
        let arguments = [
            "--headless=new".to_owned(),
            "--no-sandbox".to_owned(),
            "--disable-gpu".to_owned(),
            // Without a graphics card WebGL is drawn by the processor.
            "--use-angle=swiftshader".to_owned(),
            "--enable-unsafe-swiftshader".to_owned(),
            "--disable-quic".to_owned(),
            "--no-first-run".to_owned(),
            "--disable-background-networking".to_owned(),
            "--disable-component-update".to_owned(),
            "--disable-sync".to_owned(),
            "--hide-scrollbars".to_owned(),
            format!("--user-data-dir={}", profile.path().display()),
        ];
        let wanted =
            json!({ "browserName": "chrome", "goog:chromeOptions": { "args": arguments } });
        let Value::Object(wanted) = wanted else { unreachable!("an object was written") };
        let address = format!("http://127.0.0.1:{port}");
        let mut tries = 0;
        let client = loop {
            let mut builder = ClientBuilder::new(HttpConnector::new());
            match builder.capabilities(wanted.clone()).connect(&address).await {
                Ok(client) => break client,
                Err(error) if tries > 100 => panic!("the browser did not start: {error}"),
                Err(_) => {
                    tries += 1;
                    tokio::time::sleep(Duration::from_millis(200)).await;
                }
            }
        };
        Self { client, base: base.to_owned(), _driver: driver, _profile: profile }
    }

    pub(crate) async fn goto(&self, path: &str) {
        self.client.goto(&format!("{}{path}", self.base)).await.unwrap();
    }

    /// The path of the page shown.
    pub(crate) async fn path(&self) -> String {
        let url = self.client.current_url().await.unwrap();
        url.path().to_owned()
    }

    pub(crate) async fn find(&self, css: &str) -> Element {
        match self.client.find(Locator::Css(css)).await {
            Ok(element) => element,
            Err(error) => {
                panic!("no {css} on {}: {error}\n{}", self.path().await, self.text().await)
            }
        }
    }

    /// The words of the page.
    pub(crate) async fn text(&self) -> String {
        match self.client.find(Locator::Css("body")).await {
            Ok(body) => body.text().await.unwrap_or_default(),
            Err(_) => String::new(),
        }
    }

    /// Waits until the page shows some words.
    pub(crate) async fn wait_for(&self, words: &str) {
        for _ in 0..300 {
            if self.text().await.contains(words) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        panic!("“{words}” did not appear on {}:\n{}", self.path().await, self.text().await);
    }

    pub(crate) async fn see(&self, words: &str) {
        let text = self.text().await;
        assert!(text.contains(words), "“{words}” is not on {}:\n{text}", self.path().await);
    }

    /// Unfolds everything that is folded, so that its fields can be reached.
    pub(crate) async fn unfold(&self) {
        self.client
            .execute(
                "for (const d of document.querySelectorAll('main details')) d.open = true",
                vec![],
            )
            .await
            .unwrap();
    }

    /// Types into a field of the form that goes to `action`; a list is chosen from by its value.
    pub(crate) async fn set(&self, action: &str, name: &str, value: &str) {
        let field = self.find(&format!("form[action='{action}'] [name='{name}']")).await;
        match field.tag_name().await.unwrap().as_str() {
            "select" => field.select_by_value(value).await.unwrap(),
            _ if field.attr("type").await.unwrap().as_deref() == Some("checkbox") => {
                field.click().await.unwrap()
            }
            _ if field.attr("type").await.unwrap().as_deref() == Some("file") => {
                field.send_keys(value).await.unwrap()
            }
            _ if field.attr("type").await.unwrap().as_deref() == Some("date") => {
                // How a date is typed depends on the browser's language; its value does not.
                let element = serde_json::to_value(&field).unwrap();
                self.client
                    .execute("arguments[0].value = arguments[1]", vec![element, json!(value)])
                    .await
                    .unwrap();
            }
            _ => {
                field.clear().await.unwrap();
                field.send_keys(value).await.unwrap();
            }
        }
    }

    /// Presses a form's button, and says that it is so where that is asked once more.
    pub(crate) async fn press_surely(&self, action: &str) {
        self.press(action).await;
        let tick = "const box = document.querySelector(`form[action='${arguments[0]}'] [name=sure]`); if (box && !box.checked) box.click(); return box !== null;";
        let asked = self.client.execute(tick, vec![action.into()]).await.unwrap();
        if asked == Value::Bool(true) {
            self.press(action).await;
        }
    }

    /// Presses the main button of the form that goes to `action`, and waits for the page it leads to.
    pub(crate) async fn press(&self, action: &str) {
        let button = self.find(&format!("form[action='{action}'] button:not([formaction])")).await;
        self.client
            .execute(
                "window.pressed = true; arguments[0].scrollIntoView({block: 'center'})",
                vec![serde_json::to_value(&button).unwrap()],
            )
            .await
            .unwrap();
        button.click().await.unwrap();
        for _ in 0..300 {
            let gone = self
                .client
                .execute("return !window.pressed && document.readyState === 'complete'", vec![])
                .await;
            if gone.is_ok_and(|gone| gone == Value::Bool(true)) {
                return;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("pressing the button of {action} led nowhere:\n{}", self.text().await);
    }

    pub(crate) async fn resize(&self, width: u32, height: u32) {
        self.client.set_window_size(width, height).await.unwrap();
    }

    /// Takes a picture of the page.
    pub(crate) async fn picture(&self, name: &str) {
        let png = self.client.screenshot().await.unwrap();
        assert!(png.len() > 5_000, "the picture {name} shows nothing");
        std::fs::write(pictures().join(format!("{name}.png")), png).unwrap();
    }
}
