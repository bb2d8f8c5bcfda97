//! What a form asks for, done once.

use std::fmt::Display;

use axum::response::{IntoResponse, Response};
use sqlx::{PgConnection, PgPool};

use super::{Fault, Form, Refused, see_other};
use crate::clock::Moment;
use crate::db::once::{self, Begun};

/// What came of a form.
#[derive(Debug)]
pub enum Ended {
    /// It was done, now or when the form first came; the browser is led on.
    Led(Response),
    /// Nothing of it was kept, and the form says why.
    Refused(Refused),
}

impl Form {
    /// Does what this form asks for, once: in one transaction with the form's
    /// key and the place it leads to, which `act` gives. A form that arrives
    /// again is led where the first led; what is refused is rolled back and
    /// noted on the form.
    ///
    /// # Errors
    /// What failed without being anybody's mistake; nothing is kept then either.
    pub async fn act_once<P: Display>(
        &mut self,
        pool: &PgPool,
        now: Moment,
        act: impl AsyncFnOnce(&mut PgConnection) -> Result<P, Fault>,
    ) -> Result<Ended, Fault> {
        let mut work = match once::begin(pool, self.key(), now).await? {
            Begun::First(work) => work,
            Begun::Again(place) => return Ok(Ended::Led(see_other(&place))),
        };
        match act(&mut work.tx).await.map(|place| place.to_string()) {
            Ok(place) => {
                work.commit(&place).await?;
                Ok(Ended::Led(see_other(&place)))
            }
            Err(Fault::Refused(refused)) => {
                // The connection is given back before the page asks for one.
                drop(work);
                self.refuse(&refused);
                Ok(Ended::Refused(refused))
            }
            Err(fault) => Err(fault),
        }
    }
}

impl Ended {
    /// Where it led; or, with the refusal's status, the page that shows the
    /// form as it was sent and the reason. The page is made only then.
    ///
    /// # Errors
    /// What went wrong in making the page.
    pub async fn or_show<P: IntoResponse>(
        self,
        page: impl Future<Output = Result<P, Fault>>,
    ) -> Result<Response, Fault> {
        self.or_tell(async |_| page.await).await
    }

    /// The same, where the reason stands elsewhere than in the form as it was sent.
    ///
    /// # Errors
    /// What went wrong in making the page.
    pub async fn or_tell<P: IntoResponse>(
        self,
        page: impl AsyncFnOnce(Refused) -> Result<P, Fault>,
    ) -> Result<Response, Fault> {
        match self {
            Self::Led(response) => Ok(response),
            Self::Refused(refused) => {
                let status = refused.status;
                Ok((status, page(refused).await?).into_response())
            }
        }
    }

    /// Where it led.
    ///
    /// # Errors
    /// What was refused, for a page of its own.
    pub fn led(self) -> Result<Response, Fault> {
        match self {
            Self::Led(response) => Ok(response),
            Self::Refused(refused) => Err(refused.into()),
        }
    }
}
