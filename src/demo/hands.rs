//! Hands that work the program as people do: they open pages, fill in the
//! forms they find there, and press the buttons. What the demo studio holds
//! has come in by the same doors as everything else.

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, StatusCode, header};
use tower::ServiceExt;

use super::DemoFault;
use super::markup::{Fields, find_form, text_of};

/// Somebody at the program: signed in, or a client with a link.
#[derive(Clone)]
pub(super) struct Hands {
    router: Router,
    cookie: Option<String>,
}

/// A file that is dropped into a form.
pub(super) struct Dropped {
    pub(super) name: String,
    pub(super) bytes: Vec<u8>,
}

const EDGE: &str = "----------------pourday-demo-7f3a";

impl Hands {
    pub(super) fn new(router: Router) -> Self {
        Self { router, cookie: None }
    }

    /// Signs in, and stays so.
    pub(super) async fn sign_in(mut self, login: &str, password: &str) -> Result<Self, DemoFault> {
        let body = encoded(&[
            ("login".to_owned(), login.to_owned()),
            ("password".to_owned(), password.to_owned()),
        ]);
        let request = self.request(
            "POST",
            "/sign-in",
            "application/x-www-form-urlencoded",
            body.into_bytes(),
        )?;
        let response =
            self.router.clone().oneshot(request).await.unwrap_or_else(|never| match never {});
        self.cookie = response
            .headers()
            .get(header::SET_COOKIE)
            .and_then(|cookie| cookie.to_str().ok())
            .and_then(|cookie| cookie.split(';').next())
            .map(str::to_owned);
        Ok(self)
    }

    /// The page at an address.
    pub(super) async fn open(&self, path: &str) -> Result<String, DemoFault> {
        let request = self.request("GET", path, "", Vec::new())?;
        let (status, _, body) = self.send(request).await?;
        if status == StatusCode::OK {
            Ok(body)
        } else {
            Err(DemoFault::Refused { path: path.to_owned(), status, message: text_of(&body) })
        }
    }

    /// The form of a page that goes to `action`, as the page proposes it.
    pub(super) async fn found(&self, page: &str, action: &str) -> Result<Fields, DemoFault> {
        let body = self.open(page).await?;
        find_form(&body, action)
            .ok_or_else(|| DemoFault::NoForm { page: page.to_owned(), action: action.to_owned() })
    }

    /// Sends a form that was found; returns where it led.
    pub(super) async fn press(&self, action: &str, form: &Fields) -> Result<String, DemoFault> {
        let body = encoded(&form.0).into_bytes();
        self.post(action, "application/x-www-form-urlencoded", body).await
    }

    /// Opens a page, fills in the form that goes to `action` and sends it.
    /// Fields that are not named keep what the page proposes. Returns where it led.
    pub(super) async fn fill(
        &self,
        page: &str,
        action: &str,
        fields: &[(&str, &str)],
    ) -> Result<String, DemoFault> {
        self.press(action, &self.found(page, action).await?.with(fields)).await
    }

    /// The same for a form that takes files, in its field `field`.
    pub(super) async fn drop_into(
        &self,
        page: &str,
        action: &str,
        fields: &[(&str, &str)],
        field: &str,
        files: &[Dropped],
    ) -> Result<String, DemoFault> {
        let form = self.found(page, action).await?;
        let body = in_parts(&form.with(fields), field, files);
        self.post(action, &format!("multipart/form-data; boundary={EDGE}"), body).await
    }

    async fn post(&self, path: &str, kind: &str, body: Vec<u8>) -> Result<String, DemoFault> {
        let request = self.request("POST", path, kind, body)?;
        let (status, place, body) = self.send(request).await?;
        match place {
            Some(place) if status == StatusCode::SEE_OTHER => Ok(place),
            _ => Err(DemoFault::Refused { path: path.to_owned(), status, message: text_of(&body) }),
        }
    }

    fn request(
        &self,
        method: &str,
        path: &str,
        kind: &str,
        body: Vec<u8>,
    ) -> Result<Request<Body>, DemoFault> {
        let mut request =
            Request::builder().method(method).uri(path).header(header::HOST, "demo.local");
        if let Some(cookie) = &self.cookie {
            request = request.header(header::COOKIE, cookie);
        }
        if !kind.is_empty() {
            request = request.header(header::CONTENT_TYPE, kind);
        }
        request.body(Body::from(body)).map_err(|error| DemoFault::Broken(error.to_string()))
    }

    async fn send(
        &self,
        request: Request<Body>,
    ) -> Result<(StatusCode, Option<String>, String), DemoFault> {
        let response =
            self.router.clone().oneshot(request).await.unwrap_or_else(|never| match never {});
        let status = response.status();
        let place = response
            .headers()
            .get(header::LOCATION)
            .and_then(|place| place.to_str().ok())
            .map(str::to_owned);
        let body = to_bytes(response.into_body(), 64 << 20)
            .await
            .map_err(|error| DemoFault::Broken(error.to_string()))?;
        Ok((status, place, String::from_utf8_lossy(&body).into_owned()))
    }
}

fn encoded(fields: &[(String, String)]) -> String {
    let mut out = String::new();
    for (name, value) in fields {
        if !out.is_empty() {
            out.push('&');
        }
        escape(&mut out, name);
        out.push('=');
        escape(&mut out, value);
    }
    out
}

fn escape(out: &mut String, text: &str) {
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() {
            out.push(char::from(byte));
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
}

fn in_parts(form: &Fields, field: &str, files: &[Dropped]) -> Vec<u8> {
    let mut body = Vec::new();
    for (name, value) in form.0.iter().filter(|(name, _)| name != field) {
        body.extend(
            format!(
                "--{EDGE}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
            )
            .into_bytes(),
        );
    }
    for file in files {
        body.extend(
            format!(
                "--{EDGE}\r\nContent-Disposition: form-data; name=\"{field}\"; filename=\"{}\"\r\nContent-Type: application/octet-stream\r\n\r\n",
                file.name
            )
            .into_bytes(),
        );
        body.extend_from_slice(&file.bytes);
        body.extend_from_slice(b"\r\n");
    }
    body.extend(format!("--{EDGE}--\r\n").into_bytes());
    body
}
