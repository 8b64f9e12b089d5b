//! A phone that works out of reach: what it holds, what it says, and that nothing of it is lost.

mod pulled;
mod pushed;

use serde_json::{Value, json};
use tests::phone::Phone;
use tests::{Client, ReadyJob, Reply, Shop, TestApp};

const NOW: &str = "2026-05-04T06:00:00Z";
const NOBODY: &str = "01890000-0000-7000-8000-000000000000";

/// A shop with a planned job, whose technician has a phone.
struct Scene {
    app: TestApp,
    shop: Shop,
    job: ReadyJob,
    phone: Phone,
}

impl Scene {
    fn new() -> Scene {
        let app = TestApp::start();
        let shop = app.shop("Shine");
        let job = shop.ready_job(&app);
        shop.owner.post(&job.path("plan"), &json!({})).expect(201);
        let mut phone = Phone::with_clock(app.clock.now());
        phone.sync(&job.technician, NOW);
        Scene { app, shop, job, phone }
    }

    fn now(&self) -> String {
        self.app.clock.now().to_string()
    }

    fn sync(&mut self) {
        let now = self.now();
        self.phone.sync(&self.job.technician, &now);
    }

    /// What a phone that holds nothing yet is given must be what this one has gathered.
    fn has_everything(&mut self) {
        self.sync();
        let mut fresh = Phone::with_clock(self.app.clock.now());
        fresh.sync(&self.job.technician, &self.now());
        assert_eq!(self.phone.kept.rows, fresh.kept.rows);
    }

    fn holds(&self, kind: &str) -> Vec<&Value> {
        self.phone.kept.rows.iter().filter(|(key, _)| key.0 == kind).map(|(_, row)| &row.1).collect()
    }

    fn says(&mut self, kind: &str, args: Value) -> String {
        let job = self.job.id.clone();
        self.phone.act(kind, &job, NOW, args)
    }

    fn inbox(&self) -> Vec<Value> {
        self.shop.owner.get("/v1/inbox").expect(200)["items"].as_array().expect("a list").clone()
    }

    fn step(&self) -> Value {
        json!({ "step": "C02", "technician": self.job.technician_id, "started_at": "2026-05-04T05:30:00Z",
            "minutes": 5, "outcome": "passed" })
    }
}

/// Sends commands as they are, without a phone's care.
fn push(client: &Client, device: &str, epoch: &str, mutations: &[Value]) -> Reply {
    client.post(
        "/v1/sync/push",
        &json!({ "device": device, "epoch": epoch, "sent_at": NOW, "mutations": mutations }),
    )
}

fn comment(n: i64, id: &str, job: &str) -> Value {
    json!({ "n": n, "id": id, "type": "comment", "job": job, "occurred_at": NOW, "args": { "text": "hello" } })
}

fn text(value: &Value) -> String {
    value.as_str().expect("text").to_owned()
}
