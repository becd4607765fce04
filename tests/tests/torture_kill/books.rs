//! The outbox as another program reads it: straight from the database's file, between one daemon and the next.

use entities::notice;
use sea_orm::{Database, EntityTrait};
use tests::harness::Room;
use tokio::runtime::Runtime;

pub struct Books {
    runtime: Runtime,
    address: String,
}

impl Books {
    pub fn of(room: &Room) -> Books {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        Books { runtime, address: format!("sqlite:{}", room.path("tallow.db").display()) }
    }

    /// Every notice.
    pub fn notices(&self) -> Vec<notice::Model> {
        self.runtime.block_on(async {
            let db = Database::connect(&self.address).await.unwrap();
            let notices = notice::Entity::find().all(&db).await.unwrap();
            db.close().await.unwrap();
            notices
        })
    }

    /// How many wait whose turn comes before those a daemon went down with.
    pub fn fresh(notices: &[notice::Model]) -> usize {
        notices.iter().filter(|notice| notice.state == "queued").count()
    }

    /// Whose body may have been on its way.
    pub fn begun(notices: &[notice::Model]) -> Vec<String> {
        let begun = notices.iter().filter(|notice| notice.state == "data_begun");
        begun.map(|notice| notice.message_id.clone()).collect()
    }
}
