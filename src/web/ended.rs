//! How the work of a form ends.

use axum::http::StatusCode;
use axum::response::Response;

use super::{Fault, Form, see_other};
use crate::db::once::Work;

/// What came of a form's work.
#[derive(Debug)]
pub enum Ended {
    /// It was kept; the browser is led on.
    Led(Response),
    /// Nothing of it was kept; the form says why and is to be shown again with this status.
    Refused(StatusCode),
}

impl Form {
    /// Ends the work of this form: what was done is committed together with the place it led to,
    /// what was refused is rolled back and noted on the form.
    ///
    /// # Errors
    /// What failed without being anybody's mistake; nothing is kept then either.
    pub async fn ended(&mut self, work: Work, done: Result<String, Fault>) -> Result<Ended, Fault> {
        match done {
            Ok(place) => {
                work.commit(&place).await?;
                Ok(Ended::Led(see_other(&place)))
            }
            Err(Fault::Refused(refused)) => {
                // The connection is given back before the page asks for one.
                drop(work);
                self.refuse(&refused);
                Ok(Ended::Refused(refused.status))
            }
            Err(fault) => Err(fault),
        }
    }
}
