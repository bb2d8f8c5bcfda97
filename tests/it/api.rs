//! The interface for other programs: tokens, scopes, pages, limits, and signed webhooks.

use std::sync::{Arc, Mutex};

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::State;
use axum::http::{HeaderMap, Request, StatusCode, header};
use axum::routing::post;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use pourday::api::tell_due;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use crate::invoices::{agreed, issued, one};
use crate::support::studio::{Actor, Studio};

/// Makes a token by way of the owner's page; what the page shows once.
async fn token(owner: &Actor, scopes: &[&str]) -> String {
    let mut fields = vec![("name", "Bookkeeping")];
    fields.extend(scopes.iter().map(|scope| ("scope", *scope)));
    let page = owner.post("/studio/api", &fields).await;
    shown(page.page())
}

fn shown(page: &str) -> String {
    page.split("data-copy=\"").nth(1).unwrap().split('"').next().unwrap().to_owned()
}

struct Client<'a> {
    studio: &'a Studio,
    token: String,
}

impl Client<'_> {
    async fn send(
        &self,
        request: axum::http::request::Builder,
        body: Body,
    ) -> (StatusCode, HeaderMap, Value) {
        let request: Request<Body> = request
            .header(header::AUTHORIZATION, format!("Bearer {}", self.token))
            .body(body)
            .unwrap();
        let (status, headers, bytes) = self.studio.stranger().bytes(request).await;
        let body = serde_json::from_slice(&bytes)
            .unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(&bytes)));
        (status, headers, body)
    }

    async fn get(&self, path: &str) -> (StatusCode, Value) {
        let (status, _, body) = self.send(Request::get(path), Body::empty()).await;
        (status, body)
    }

    async fn post(&self, path: &str, body: Value, key: Option<&str>) -> (StatusCode, Value) {
        let mut request = Request::post(path).header(header::CONTENT_TYPE, "application/json");
        if let Some(key) = key {
            request = request.header("idempotency-key", key);
        }
        let (status, _, body) = self.send(request, Body::from(body.to_string())).await;
        (status, body)
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_token_does_what_was_ticked_until_it_is_revoked() {
    let (studio, owner, number) = agreed().await;
    let secret = token(&owner, &["orders:read"]).await;
    assert!(!owner.get("/studio/api").await.page().contains(&secret), "it is shown once");
    let kept = sqlx::query_scalar::<_, Vec<u8>>("SELECT token_hash FROM api_tokens")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(kept, Sha256::digest(secret.as_bytes()).to_vec(), "only its trace is kept");
    let client = Client { studio: &studio, token: secret };
    let (status, body) = client.get("/api/v1/orders").await;
    assert_eq!(status, StatusCode::OK);
    assert_eq!(body["data"][0]["number"], number);
    assert_eq!(body["next"], Value::Null);
    let (status, body) = client.get(&format!("/api/v1/orders/{number}")).await;
    assert_eq!((status, &body["title"]), (StatusCode::OK, &json!("Drawer knobs")));
    assert_eq!(client.get("/api/v1/orders/9").await.0, StatusCode::NOT_FOUND);
    assert_eq!(client.get("/api/v1/orders/x").await.0, StatusCode::NOT_FOUND);
    assert_eq!(client.get("/api/v1/people").await.0, StatusCode::NOT_FOUND);
    let (status, body) = client.get("/api/v1/clients").await;
    assert_eq!(status, StatusCode::FORBIDDEN);
    assert!(body["detail"].as_str().unwrap().contains("clients:read"));
    let (status, _) = client.post("/api/v1/clients", json!({ "name": "X" }), None).await;
    assert_eq!(status, StatusCode::FORBIDDEN);
    let id = one(&studio, "SELECT id::text FROM api_tokens").await;
    owner.post(&format!("/studio/api/tokens/{id}/revoke"), &[]).await.led_to();
    let (status, headers, _) = client.send(Request::get("/api/v1/orders"), Body::empty()).await;
    assert_eq!(status, StatusCode::UNAUTHORIZED);
    assert_eq!(headers["www-authenticate"], "Bearer");
    assert_eq!(headers["content-type"], "application/problem+json");
    let stranger = Client { studio: &studio, token: "pourday_nonsense".to_owned() };
    assert_eq!(stranger.get("/api/v1/orders").await.0, StatusCode::UNAUTHORIZED);
    let maker = studio.maker().await;
    assert_eq!(maker.get("/studio/api").await.status, StatusCode::FORBIDDEN);
    let session = maker.get("/api/v1/orders").await;
    assert_eq!(session.status, StatusCode::UNAUTHORIZED, "a session is no token");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_token_stops_when_its_owner_leaves() {
    let (studio, owner, _) = agreed().await;
    let client = Client { studio: &studio, token: token(&owner, &["orders:read"]).await };
    assert_eq!(client.get("/api/v1/orders").await.0, StatusCode::OK);
    sqlx::query("UPDATE people SET left_at = now()").execute(&studio.db.pool).await.unwrap();
    assert_eq!(client.get("/api/v1/orders").await.0, StatusCode::UNAUTHORIZED);
}

#[tokio::test(flavor = "multi_thread")]
async fn lists_go_on_page_by_page_and_can_be_narrowed() {
    let (studio, owner, number) = agreed().await;
    sqlx::query("INSERT INTO clients (id, name, email, created_at) SELECT gen_random_uuid(), 'Client ' || n, n || '@example.org', now() FROM generate_series(1, 25) n")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let client =
        Client { studio: &studio, token: token(&owner, &["clients:read", "pieces:read"]).await };
    let mut seen = Vec::new();
    let mut after = String::new();
    loop {
        let (status, page) = client.get(&format!("/api/v1/clients?limit=10{after}")).await;
        assert_eq!(status, StatusCode::OK, "{page}");
        seen.extend(
            page["data"]
                .as_array()
                .unwrap()
                .iter()
                .map(|row| row["id"].as_str().unwrap().to_owned()),
        );
        match page["next"].as_str() {
            Some(next) => after = format!("&after={next}"),
            None => break,
        }
    }
    assert_eq!(seen.len(), 26);
    seen.dedup();
    assert_eq!(seen.len(), 26, "none twice");
    let (_, one) = client.get("/api/v1/clients?email=7@example.org").await;
    assert_eq!(one["data"].as_array().unwrap().len(), 1);
    let (_, pieces) =
        client.get(&format!("/api/v1/pieces?order_number={number}&standing=waiting")).await;
    assert_eq!(pieces["data"].as_array().unwrap().len(), 2);
    let (_, second) = client.get(&format!("/api/v1/pieces?after={number}-1&limit=1")).await;
    assert_eq!(second["data"][0]["label"], format!("{number}-2"));
    for wrong in ["limit=0", "limit=501", "limit=x", "after=x", "colour=red", "name='--"] {
        let (status, body) = client.get(&format!("/api/v1/clients?{wrong}")).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{wrong} {body}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_sent_twice_with_one_key_happens_once_and_faults_are_told_by_field() {
    let (studio, owner, number) = agreed().await;
    let invoice = issued(&owner, number, "rest").await;
    let client = Client {
        studio: &studio,
        token: token(&owner, &["clients:write", "payments:write", "client_entries:read"]).await,
    };
    let key = "0198c000-0000-7000-8000-000000000009";
    let new = json!({ "name": "Bruno Vale", "email": "bruno@example.org" });
    let (status, first) = client.post("/api/v1/clients", new.clone(), Some(key)).await;
    assert_eq!(status, StatusCode::CREATED, "{first}");
    let (status, again) = client.post("/api/v1/clients", new, Some(key)).await;
    assert_eq!((status, &again), (StatusCode::CREATED, &first));
    assert_eq!(one(&studio, "SELECT count(*)::text FROM clients").await, "2");
    for (body, field) in [
        (json!({ "name": "" }), "name"),
        (json!({ "name": "X", "email": "nothing" }), "email"),
        (json!({ "name": 7 }), "name"),
        (json!({ "name": "X", "colour": "red" }), "colour"),
    ] {
        let (status, told) = client.post("/api/v1/clients", body, None).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(told["fields"].get(field).is_some(), "{told}");
    }
    let ada = one(&studio, "SELECT id::text FROM clients ORDER BY created_at LIMIT 1").await;
    let place = format!("/api/v1/clients/{ada}/payments");
    let payment = json!({ "amount": "323.99", "on": "2026-11-25", "method": "Bank" });
    let (status, told) = client.post(&place, payment, None).await;
    assert_eq!(status, StatusCode::CREATED, "{told}");
    assert!(
        owner
            .get(&invoice)
            .await
            .page()
            .contains("Still to be paid</dt><dd class=\"total\"><details class=\"working\"><summary><span class=\"fig\">0.00")
    );
    let (_, entry) =
        client.get(&format!("/api/v1/client_entries/{}", told["id"].as_str().unwrap())).await;
    assert_eq!(entry["credit"].as_f64(), Some(323.99));
    for body in [
        json!({ "amount": "1.000000000001", "on": "2026-11-25" }),
        json!({ "amount": "-1", "on": "2026-11-25" }),
        json!({ "amount": "5", "on": "2026-11-26" }),
        json!({ "amount": 5, "on": "2026-11-25" }),
        json!([]),
    ] {
        let (status, _) = client.post(&place, body, None).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    }
    let (status, _) = client
        .post(
            "/api/v1/clients/0198c000-0000-7000-8000-00000000000f/payments",
            json!({ "amount": "5", "on": "2026-11-25" }),
            None,
        )
        .await;
    assert_eq!(status, StatusCode::NOT_FOUND);
}

#[tokio::test(flavor = "multi_thread")]
async fn too_many_requests_in_a_minute_are_told_when_to_come_again() {
    let (studio, owner, _) = agreed().await;
    let client = Client { studio: &studio, token: token(&owner, &["designs:read"]).await };
    sqlx::query("INSERT INTO api_requests SELECT id, date_trunc('minute', $1::timestamptz), 119 FROM api_tokens")
        .bind(studio.clock.now())
        .execute(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(client.get("/api/v1/designs").await.0, StatusCode::OK);
    let (status, headers, _) = client.send(Request::get("/api/v1/designs"), Body::empty()).await;
    assert_eq!(status, StatusCode::TOO_MANY_REQUESTS);
    assert_eq!(headers["retry-after"], "60");
    studio.clock.set(studio.clock.now().plus_seconds(60));
    assert_eq!(client.get("/api/v1/designs").await.0, StatusCode::OK);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_description_is_of_what_is_there() {
    let (studio, owner, _) = agreed().await;
    let request = Request::get("/api/v1/openapi.json").body(Body::empty()).unwrap();
    let (status, _, bytes) = studio.stranger().bytes(request).await;
    assert_eq!(status, StatusCode::OK);
    let document: Value = serde_json::from_slice(&bytes).unwrap();
    assert_eq!(document["openapi"], "3.1.0");
    let all: Vec<String> = pourday_scopes(&document);
    let scopes: Vec<&str> = all.iter().map(String::as_str).collect();
    let client = Client { studio: &studio, token: token(&owner, &scopes).await };
    let mut read = 0;
    for (path, operations) in document["paths"].as_object().unwrap() {
        if path.contains('{') || operations.get("get").is_none() {
            continue;
        }
        let (status, page) = client.get(path).await;
        assert_eq!(status, StatusCode::OK, "{path}: {page}");
        let single = operations["get"]["responses"]["200"]["content"]["application/json"]["schema"]
            ["properties"]["data"]["items"]["$ref"]
            .as_str()
            .unwrap();
        let schema = document.pointer(single.strip_prefix('#').unwrap()).unwrap();
        for row in page["data"].as_array().unwrap() {
            let described: Vec<&String> =
                schema["properties"].as_object().unwrap().keys().collect();
            let mut there: Vec<&String> = row.as_object().unwrap().keys().collect();
            there.sort();
            assert_eq!(there, described, "{path}");
            read += 1;
        }
    }
    assert!(read > 4, "{read}");
}

fn pourday_scopes(document: &Value) -> Vec<String> {
    let mut out = Vec::new();
    for operations in document["paths"].as_object().unwrap().values() {
        for operation in operations.as_object().unwrap().values() {
            out.push(operation["security"][0]["token"][0].as_str().unwrap().to_owned());
        }
    }
    out.sort();
    out.dedup();
    out
}

/// What a receiver heard: its headers and its body.
type Heard = Arc<Mutex<Vec<(HeaderMap, Bytes)>>>;

/// Somebody who listens to webhooks, and answers as told.
async fn receiver(answer: StatusCode) -> (String, Heard, Arc<Mutex<StatusCode>>) {
    let heard: Heard = Heard::default();
    let says = Arc::new(Mutex::new(answer));
    async fn hear(
        State((heard, says)): State<(Heard, Arc<Mutex<StatusCode>>)>,
        headers: HeaderMap,
        body: Bytes,
    ) -> StatusCode {
        heard.lock().unwrap().push((headers, body));
        *says.lock().unwrap()
    }
    let router = Router::new().route("/told", post(hear)).with_state((heard.clone(), says.clone()));
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("http://{}/told", listener.local_addr().unwrap());
    tokio::spawn(async move { axum::serve(listener, router).await.unwrap() });
    (url, heard, says)
}

#[tokio::test(flavor = "multi_thread")]
async fn webhooks_are_signed_told_again_and_given_up() {
    let (studio, owner, number) = agreed().await;
    let (url, heard, says) = receiver(StatusCode::INTERNAL_SERVER_ERROR).await;
    let page =
        owner.post("/studio/api/webhooks", &[("url", &url), ("event", "invoice.issued")]).await;
    let secret = STANDARD.decode(shown(page.page())).unwrap();
    issued(&owner, number, "deposit").await;
    let client = one(&studio, "SELECT id::text FROM clients").await;
    let pay = [("amount", "1"), ("on", "2026-11-25")];
    owner.post(&format!("/clients/{client}/payments"), &pay).await.led_to();
    studio.clock.set(pourday::clock::Clock::system().now());
    assert_eq!(tell_due(&studio.app).await.unwrap(), 0);
    assert_eq!(heard.lock().unwrap().len(), 1, "only what was ticked is told");
    assert!(owner.get("/studio/api").await.page().contains("It answered 500"));
    assert_eq!(tell_due(&studio.app).await.unwrap(), 0);
    assert_eq!(heard.lock().unwrap().len(), 1, "it is told again after a minute, not at once");
    *says.lock().unwrap() = StatusCode::OK;
    studio.clock.set(studio.clock.now().plus_minutes(2));
    assert_eq!(tell_due(&studio.app).await.unwrap(), 1);
    assert_eq!(tell_due(&studio.app).await.unwrap(), 0);
    let all = heard.lock().unwrap().clone();
    assert_eq!(all.len(), 2);
    let told = |body: &Bytes| serde_json::from_slice::<Value>(body).unwrap();
    assert_eq!(told(&all[0].1), told(&all[1].1), "a repetition is known by its id");
    assert_eq!(told(&all[0].1)["event"], "invoice.issued");
    assert_eq!(told(&all[0].1)["data"]["total"], "162.0000");
    // Checked by hand after RFC 9421, 3.2.
    let (headers, body) = &all[1];
    let text = |name: &str| headers[name].to_str().unwrap();
    let digest = format!("sha-256=:{}:", STANDARD.encode(Sha256::digest(body)));
    assert_eq!(text("content-digest"), digest);
    let parameters = text("signature-input").strip_prefix("pourday=").unwrap();
    assert!(
        parameters.starts_with(
            "(\"@method\" \"@target-uri\" \"content-type\" \"content-digest\");created="
        )
    );
    let base = format!(
        "\"@method\": POST\n\"@target-uri\": {url}\n\"content-type\": application/json\n\"content-digest\": {digest}\n\"@signature-params\": {parameters}"
    );
    let mut mac = Hmac::<Sha256>::new_from_slice(&secret).unwrap();
    mac.update(base.as_bytes());
    let expected = format!("pourday=:{}:", STANDARD.encode(mac.finalize().into_bytes()));
    assert_eq!(text("signature"), expected);
    // Nobody there: after the last try it is given up, and told on the page.
    *says.lock().unwrap() = StatusCode::GONE;
    issued(&owner, number, "rest").await;
    for _ in 0..9 {
        studio.clock.set(studio.clock.now().plus_minutes(1441));
        tell_due(&studio.app).await.unwrap();
    }
    assert_eq!(
        one(&studio, "SELECT count(*)::text FROM webhook_deliveries WHERE state = 'given_up'")
            .await,
        "1"
    );
    assert!(owner.get("/studio/api").await.page().contains("1 given up"));
    let id = one(&studio, "SELECT id::text FROM webhooks").await;
    owner.post(&format!("/studio/api/webhooks/{id}/end"), &[]).await.led_to();
    assert!(owner.get("/studio/api").await.page().contains("No address is told anything."));
    for wrong in ["", "example.org", "ftp://example.org", "https://", "https://a b"] {
        let refused =
            owner.post("/studio/api/webhooks", &[("url", wrong), ("event", "order.ready")]).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{wrong}");
    }
}
