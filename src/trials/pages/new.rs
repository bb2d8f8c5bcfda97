//! A new trial: the question, the two arms, and how surely they are to be told apart.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use crate::people::Signed;
use crate::pieces::Stage;
use crate::trials::actions;
use crate::trials::forms::TrialForm;
use crate::trials::model::Setting;
use crate::web::{App, Fault, Form, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "trials/new.html")]
pub(crate) struct NewTrial {
    frame: Frame,
    form: Form,
}

impl NewTrial {
    fn settings(&self) -> Vec<(&'static str, &'static str)> {
        Setting::ALL.iter().map(|setting| (setting.name(), setting.words())).collect()
    }

    fn stages(&self) -> Vec<(&'static str, &'static str)> {
        Stage::ALL.iter().map(|stage| (stage.name(), stage.title())).collect()
    }
}

pub(crate) async fn show(signed: Signed) -> NewTrial {
    let form = Form::filled([
        ("setting", Setting::Supports.name().to_owned()),
        ("stage", Stage::Print.name().to_owned()),
        ("first_yield", "70".to_owned()),
        ("second_yield", "95".to_owned()),
        ("power", "80".to_owned()),
    ]);
    NewTrial { frame: signed.frame, form }
}

pub(crate) async fn submit(
    State(app): State<App>,
    signed: Signed,
    form: Form,
) -> Result<Response, Fault> {
    // Reckoning the number of pieces takes a moment; other requests go on meanwhile.
    let read = tokio::task::spawn_blocking(move || {
        let mut form = form;
        let trial = TrialForm::read(&mut form);
        (form, trial)
    });
    let (mut form, trial) = read.await.map_err(|error| Fault::Unforeseen(error.into()))?;
    let Some(trial) = trial else {
        let page = NewTrial { frame: signed.frame, form };
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    form.act_once(&app.pool, signed.now, async |conn| {
        let number = actions::begin(conn, &signed, &trial).await?;
        Ok(format!("/trials/{number}"))
    })
    .await?
    .led()
}
