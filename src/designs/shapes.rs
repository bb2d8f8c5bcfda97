//! Models as shapes that can be packed.

use std::collections::HashMap;

use foundry::mesh::{self, Limits, Mesh, Unit};
use foundry::shapes::solid;
use sqlx::{FromRow, PgPool};

use crate::files;
use crate::id::{DesignVersionId, FileId};
use crate::web::Fault;

/// The shape of a version of a design, in millimetres.
#[derive(Clone, Debug)]
pub struct Shape {
    /// Its surface.
    pub mesh: Mesh,
    /// The model could not be read, or its unit is not known; this is the box round it.
    pub boxed: bool,
}

#[derive(FromRow)]
struct VersionRow {
    id: DesignVersionId,
    file_id: FileId,
    file_name: String,
    unit: Option<String>,
    box_x_mm: f64,
    box_y_mm: f64,
    box_z_mm: f64,
}

/// Reads the shapes of some versions, away from the threads that answer requests.
pub async fn shapes(
    pool: &PgPool,
    versions: &[DesignVersionId],
) -> Result<HashMap<DesignVersionId, Shape>, Fault> {
    let rows: Vec<VersionRow> = sqlx::query_as(
        "SELECT id, file_id, file_name, unit, box_x_mm, box_y_mm, box_z_mm FROM design_versions
         WHERE id = ANY($1) ORDER BY id",
    )
    .bind(versions)
    .fetch_all(pool)
    .await?;
    let mut shapes = HashMap::new();
    for row in rows {
        let bytes = files::read(pool, row.file_id).await?;
        let read = move || (row.id, shape(&bytes, &row));
        let (id, shape) = tokio::task::spawn_blocking(read)
            .await
            .map_err(|broken| Fault::Unforeseen(broken.into()))?;
        shapes.insert(id, shape);
    }
    Ok(shapes)
}

fn shape(bytes: &[u8], row: &VersionRow) -> Shape {
    let unit = row.unit.as_deref().and_then(Unit::from_name);
    let read = mesh::read_within(bytes, &row.file_name, &Limits::default()).ok();
    let mesh = read.zip(unit).and_then(|(file, unit)| file.in_millimetres(unit).ok());
    match mesh.filter(|mesh| !mesh.is_empty()) {
        Some(mesh) => Shape { mesh, boxed: false },
        None => {
            let sides = [row.box_x_mm, row.box_y_mm, row.box_z_mm];
            Shape { mesh: solid::cuboid(sides), boxed: true }
        }
    }
}
