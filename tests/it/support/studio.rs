//! A studio for a test: its own database, a clock that stands still, and people who make requests.

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, StatusCode, header};
use pourday::clock::{Clock, Moment};
use pourday::people::{self, Role};
use pourday::server;
use pourday::web::App;
use tower::ServiceExt;

use super::database::TestDatabase;

/// Wednesday 25 November 2026, 10:00 in Berlin.
pub(crate) const NOW: &str = "2026-11-25T09:00:00Z";

/// The password of everybody in tests.
pub(crate) const PASSWORD: &str = "three plain words";

pub(crate) struct Studio {
    pub(crate) db: TestDatabase,
    pub(crate) app: App,
    pub(crate) clock: Clock,
    router: Router,
}

/// Somebody who makes requests: signed in, or a stranger.
#[derive(Clone)]
pub(crate) struct Actor {
    router: Router,
    cookie: Option<String>,
}

/// What came back.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: StatusCode,
    pub(crate) location: Option<String>,
    pub(crate) body: String,
}

pub(crate) fn moment(text: &str) -> Moment {
    Moment(text.parse().unwrap())
}

impl Studio {
    /// A founded studio without anything in it.
    pub(crate) async fn open() -> Self {
        let db = TestDatabase::new().await;
        let clock = Clock::set_at(moment(NOW));
        let mut app = server::open(db.pool.clone(), clock.clone(), false).await.unwrap();
        app.vault = pourday::vault::Vault::with_key([7; 32]);
        let mut conn = db.pool.acquire().await.unwrap();
        pourday::studio::found(&mut conn, "Test Studio", "Europe/Berlin", "EUR").await.unwrap();
        drop(conn);
        let router = server::router(app.clone());
        Self { db, app, clock, router }
    }

    /// A founded studio with machines, materials and alloys.
    pub(crate) async fn with_workshop() -> Self {
        let studio = Self::open().await;
        let workshop = include_str!("../../../src/demo/workshop.sql");
        sqlx::raw_sql(workshop).execute(&studio.db.pool).await.unwrap();
        studio
    }

    /// The same studio, taking models of so many bytes at most.
    pub(crate) fn taking_models_of(mut self, bytes: usize) -> Self {
        self.app.largest_model = bytes;
        self.router = server::router(self.app.clone());
        self
    }

    /// The same studio with another key for its secrets, or with none.
    pub(crate) fn with_vault(mut self, vault: pourday::vault::Vault) -> Self {
        self.app.vault = vault;
        self.router = server::router(self.app.clone());
        self
    }

    /// Somebody who is not signed in.
    pub(crate) fn stranger(&self) -> Actor {
        Actor { router: self.router.clone(), cookie: None }
    }

    pub(crate) async fn owner(&self) -> Actor {
        self.signed_in("owner", Role::Owner).await
    }

    pub(crate) async fn maker(&self) -> Actor {
        self.signed_in("maker", Role::Maker).await
    }

    async fn signed_in(&self, login: &str, role: Role) -> Actor {
        let hash = people::hash_password(PASSWORD.to_owned()).await.unwrap();
        people::add(&self.db.pool, login, login, role, &hash, self.clock.now()).await.unwrap();
        let stranger = self.stranger();
        let answer = stranger
            .send(
                Request::post("/sign-in")
                    .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
                    .body(Body::from(format!(
                        "login={login}&password={}",
                        PASSWORD.replace(' ', "+")
                    )))
                    .unwrap(),
            )
            .await;
        let cookie = answer.1.expect("signing in sets a cookie");
        Actor { cookie: Some(cookie), ..stranger }
    }
}

impl Actor {
    /// The same person in front of another copy of the program.
    pub(crate) fn at(&self, studio: &Studio) -> Self {
        Self { router: studio.router.clone(), cookie: self.cookie.clone() }
    }

    pub(crate) async fn get(&self, path: &str) -> Answer {
        self.send(self.request("GET", path).body(Body::empty()).unwrap()).await.0
    }

    /// Posts a form; a key that makes it once is added unless `once` is among the fields.
    pub(crate) async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let mut body = String::new();
        for (name, value) in fields {
            if !body.is_empty() {
                body.push('&');
            }
            body.push_str(&escaped(name));
            body.push('=');
            body.push_str(&escaped(value));
        }
        let request = self
            .request("POST", path)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(body))
            .unwrap();
        self.send(request).await.0
    }

    /// Posts a form with files: `(field, file name, content)`.
    pub(crate) async fn upload(
        &self,
        path: &str,
        fields: &[(&str, &str)],
        files: &[(&str, &str, &[u8])],
    ) -> Answer {
        const EDGE: &str = "------------------------pourday-test";
        let mut body = Vec::new();
        for (name, value) in fields {
            body.extend(
                format!(
                    "--{EDGE}\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
                )
                .bytes(),
            );
        }
        for (field, name, content) in files {
            body.extend(format!("--{EDGE}\r\nContent-Disposition: form-data; name=\"{field}\"; filename=\"{name}\"\r\nContent-Type: application/octet-stream\r\n\r\n").bytes());
            body.extend_from_slice(content);
            body.extend(b"\r\n");
        }
        body.extend(format!("--{EDGE}--\r\n").bytes());
        let request = self
            .request("POST", path)
            .header(header::CONTENT_TYPE, format!("multipart/form-data; boundary={EDGE}"))
            .body(Body::from(body))
            .unwrap();
        self.send(request).await.0
    }

    pub(crate) fn request(&self, method: &str, path: &str) -> axum::http::request::Builder {
        let mut request =
            Request::builder().method(method).uri(path).header(header::HOST, "studio.test");
        if let Some(cookie) = &self.cookie {
            request = request.header(header::COOKIE, cookie);
        }
        request
    }

    /// Sends a request whose answer is not text.
    pub(crate) async fn bytes(
        &self,
        request: Request<Body>,
    ) -> (StatusCode, axum::http::HeaderMap, Vec<u8>) {
        let response = self.router.clone().oneshot(request).await.unwrap();
        let (parts, body) = response.into_parts();
        let body = to_bytes(body, 64 << 20).await.unwrap();
        (parts.status, parts.headers, body.to_vec())
    }

    pub(crate) async fn send(&self, request: Request<Body>) -> (Answer, Option<String>) {
        let response = self.router.clone().oneshot(request).await.unwrap();
        let text = |name| {
            response.headers().get(name).and_then(|value| value.to_str().ok()).map(str::to_owned)
        };
        let location = text(header::LOCATION);
        let cookie =
            text(header::SET_COOKIE).and_then(|cookie| cookie.split(';').next().map(str::to_owned));
        let status = response.status();
        let body = to_bytes(response.into_body(), 64 << 20).await.unwrap();
        (Answer { status, location, body: String::from_utf8_lossy(&body).into_owned() }, cookie)
    }
}

impl Answer {
    /// Where a form led to.
    pub(crate) fn led_to(&self) -> &str {
        assert_eq!(self.status, StatusCode::SEE_OTHER, "{}", self.body);
        self.location.as_deref().expect("a redirect names its place")
    }

    /// The page, which must have come with 200.
    pub(crate) fn page(&self) -> &str {
        assert_eq!(self.status, StatusCode::OK, "{}", self.body);
        &self.body
    }
}

fn escaped(text: &str) -> String {
    text.bytes()
        .map(|byte| {
            if byte.is_ascii_alphanumeric() {
                (byte as char).to_string()
            } else {
                format!("%{byte:02X}")
            }
        })
        .collect()
}
