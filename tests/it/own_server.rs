//! The private database server.

use crate::support::database::TestDatabase;

#[tokio::test]
async fn every_test_has_a_database_of_its_own() {
    let (one, other) = tokio::join!(TestDatabase::new(), TestDatabase::empty());
    for database in [&one, &other] {
        sqlx::query("CREATE TABLE mine (id int)").execute(&database.pool).await.unwrap();
    }
    assert_ne!(one.url, other.url);
}
