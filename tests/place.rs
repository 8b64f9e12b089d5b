//! Where a test keeps its data: a folder, and on PostgreSQL a database beside it.

use api::clock::Clock;
use api::config::Config;
use api::db::kinds::Id;
use api::db::{Database, Location};
use diesel::connection::SimpleConnection;
use diesel::{Connection, PgConnection, RunQueryDsl, sql_query};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

/// A new place for data.
pub struct Place {
    folder: PathBuf,
    on_server: Option<OnServer>,
}

/// A database on the test server. As in earnest one role owns it and another serves from it: that one can read and
/// write rows, and nothing else.
struct OnServer {
    name: String,
    serving: String,
    /// Whether the roles are this database's own and go with it.
    own_roles: bool,
}

/// The roles of all databases that are copied from the template; the password of a test's role is its name.
const SERVING: &str = "lustrum_test";

/// A file with all tables and no rows.
static MIGRATED_FILE: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let place = Place::make();
    Database::open(&place.owner(), 1).and_then(|database| database.migrate()).expect("the tables");
    std::fs::read(place.file()).expect("the file")
});

/// The name of a database with all tables and no rows. It stays on the server, for the next run with these migrations.
static TEMPLATE: LazyLock<String> = LazyLock::new(|| {
    let name = format!("lustrum_template_{:016x}", hash_of_migrations());
    let mut server = PgConnection::establish(&server_url()).expect("the test server answers");
    // Held while this connection lives: of several programs that start together one makes it. The number is nobody's.
    server.batch_execute("SELECT pg_advisory_lock(72617)").expect("a lock");
    let found = sql_query(format!("SELECT 1 FROM pg_database WHERE datname = '{name}'")).execute(&mut server);
    if found.expect("a count") == 0 {
        let half_made = OnServer { name: format!("{name}_half"), serving: SERVING.into(), own_roles: false };
        half_made.remove();
        half_made.create(&mut server);
        Database::open(&Location::Postgres(half_made.as_role(&half_made.owner())), 1)
            .and_then(|owner| owner.migrate())
            .expect("the tables");
        let whole = format!("ALTER DATABASE {} RENAME TO {name}", half_made.name);
        server.batch_execute(&whole).expect("a new name");
    }
    name
});

pub fn on_postgres() -> bool {
    match std::env::var("LUSTRUM_TEST_DB").as_deref() {
        Err(_) | Ok("sqlite") => false,
        Ok("postgres") => true,
        Ok(other) => panic!("LUSTRUM_TEST_DB is {other:?}, neither sqlite nor postgres"),
    }
}

impl Place {
    /// An empty place, without tables; on PostgreSQL with roles of its own.
    pub fn make() -> Place {
        let (folder, name) = new_folder();
        let on_server = on_postgres().then(|| {
            let database = OnServer { serving: name.clone(), name, own_roles: true };
            database.create(&mut PgConnection::establish(&server_url()).expect("the test server answers"));
            database
        });
        Place { folder, on_server }
    }

    /// A place with all tables that can be served from: a copy, as that takes a fifth of the time of making them.
    pub fn ready() -> Place {
        let (folder, name) = new_folder();
        let on_server = on_postgres().then(|| {
            let database = OnServer { name, serving: SERVING.into(), own_roles: false };
            let (name, owner) = (&database.name, database.owner());
            on_server(&server_url(), &format!("CREATE DATABASE {name} TEMPLATE {} OWNER {owner}", *TEMPLATE));
            database
        });
        let place = Place { folder, on_server };
        if place.on_server.is_none() {
            std::fs::write(place.file(), &*MIGRATED_FILE).expect("a file");
        }
        place
    }

    pub fn folder(&self) -> &Path {
        &self.folder
    }

    fn file(&self) -> PathBuf {
        match Config::in_folder(self.folder.clone()).location() {
            Location::Sqlite(file) => file,
            Location::Postgres(url) => panic!("a folder is at {url}"),
        }
    }

    pub fn config(&self) -> Config {
        let mut config = Config::in_folder(self.folder.clone());
        config.database_url = self.on_server.as_ref().map(|database| database.as_role(&database.serving));
        config.pool_size = 4;
        config.workers = Some(1);
        // The clock of a test stands still, and so would a limit by the minute.
        config.requests_per_min = 0;
        config.backups = 0;
        // The least there is: most tests log in several people.
        config.password_memory_kib = 8;
        config
    }

    /// The database as its owner reaches it, who may change tables.
    pub fn owner(&self) -> Location {
        match &self.on_server {
            Some(database) => Location::Postgres(database.as_role(&database.owner())),
            None => self.config().location(),
        }
    }

    /// Has a server tidy, count and write its rows now, as it does by itself every few minutes: until then it plans as if
    /// there were none, and is still busy with them.
    pub fn tidy(&self) {
        if let Some(url) = self.superuser() {
            on_server(&url, "VACUUM (ANALYZE)");
            on_server(&url, "CHECKPOINT");
        }
    }

    /// The database as the superuser of the test server reaches it, if it is on one.
    pub fn superuser(&self) -> Option<String> {
        self.on_server.as_ref().map(OnServer::as_superuser)
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        self.on_server.iter().for_each(OnServer::remove);
        std::fs::remove_dir_all(&self.folder).ok();
    }
}

impl OnServer {
    /// Makes the database, and its roles where they are missing.
    fn create(&self, server: &mut PgConnection) {
        let (name, serving, owner) = (&self.name, &self.serving, self.owner());
        for role in [serving, &owner] {
            let found = sql_query(format!("SELECT 1 FROM pg_roles WHERE rolname = '{role}'")).execute(server);
            if found.expect("a count") == 0 {
                let role = format!("CREATE ROLE {role} LOGIN PASSWORD '{role}'");
                server.batch_execute(&role).expect("a role");
            }
        }
        server.batch_execute(&format!("CREATE DATABASE {name} OWNER {owner}")).expect("a database");
        on_server(
            &self.as_role(&owner),
            &format!("ALTER DEFAULT PRIVILEGES GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO {serving}"),
        );
    }

    fn remove(&self) {
        on_server(&server_url(), &format!("DROP DATABASE IF EXISTS {} WITH (FORCE)", self.name));
        if self.own_roles {
            on_server(&server_url(), &format!("DROP ROLE {}; DROP ROLE {}", self.serving, self.owner()));
        }
    }

    fn owner(&self) -> String {
        format!("{}_owner", self.serving)
    }

    fn as_superuser(&self) -> String {
        let url = server_url();
        let (server, _) = url.rsplit_once('/').expect("TEST_DATABASE_URL names a database");
        format!("{server}/{}", self.name)
    }

    /// The address under which a role reaches the database.
    fn as_role(&self, role: &str) -> String {
        let url = self.as_superuser();
        let (_, place) = url.split_once("://").expect("TEST_DATABASE_URL is an address");
        format!("postgres://{role}:{role}@{}", place.rsplit_once('@').map_or(place, |(_, place)| place))
    }
}

/// A folder of its own, and its name.
fn new_folder() -> (PathBuf, String) {
    let name = format!("lustrum_test_{}", Id::new(Clock::System.now()).to_string().replace('-', ""));
    let folder = std::env::temp_dir().join(&name);
    std::fs::create_dir_all(&folder).expect("a folder for the test");
    (folder, name)
}

/// Other migrations have another template.
fn hash_of_migrations() -> u64 {
    let tree = Path::new(env!("CARGO_MANIFEST_DIR")).join("../migrations/postgres");
    let entries = std::fs::read_dir(tree).expect("the migrations");
    let mut folders: Vec<PathBuf> = entries.map(|entry| entry.expect("an entry").path()).collect();
    folders.sort();
    let mut hash = DefaultHasher::new();
    for folder in folders {
        (folder.file_name(), std::fs::read(folder.join("up.sql")).expect("a migration")).hash(&mut hash);
    }
    hash.finish()
}

fn server_url() -> String {
    std::env::var("TEST_DATABASE_URL").expect("LUSTRUM_TEST_DB=postgres needs TEST_DATABASE_URL")
}

/// Runs statements as the role that `url` names.
pub fn on_server(url: &str, statements: &str) {
    let mut conn = PgConnection::establish(url).expect("the test server answers");
    conn.batch_execute(statements).expect("the test server does as told");
}
