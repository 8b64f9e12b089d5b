// rxdb-server with Express and its memory storage, as its documentation sets it up, on the port that it is given.
import { createRequire } from "node:module";

const require = createRequire(process.env.PACKAGES);
const { createRxDatabase } = require("rxdb/plugins/core");
const { getRxStorageMemory } = require("rxdb/plugins/storage-memory");
const { createRxServer } = require("rxdb-server/plugins/server");
const { RxServerAdapterExpress } = require("rxdb-server/plugins/adapter-express");

const [, port] = process.argv.slice(2);
const text = (maxLength) => ({ type: "string", maxLength });
const properties = { id: text(36), job: text(36), text: text(2000), by_person: text(36), at: text(30) };
const schema = { version: 0, primaryKey: "id", type: "object", properties, required: Object.keys(properties) };
const database = await createRxDatabase({ name: "peer", storage: getRxStorageMemory() });
await database.addCollections({ comments: { schema } });
const server = await createRxServer({
  database,
  adapter: RxServerAdapterExpress,
  port: Number(port),
  hostname: "127.0.0.1",
  authHandler: () => ({ data: {}, validUntil: Date.now() + 86_400_000 }),
});
server.addReplicationEndpoint({ name: "comments", collection: database.comments });
await server.start();
