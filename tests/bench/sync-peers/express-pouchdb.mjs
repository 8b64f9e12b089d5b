// express-pouchdb on LevelDB, as its README sets it up, in the folder and on the port that it is given. It packs answers.
import { createRequire } from "node:module";

const require = createRequire(process.env.PACKAGES);
const express = require("express");
const PouchDB = require("pouchdb");

const [folder, port] = process.argv.slice(2);
const Stored = PouchDB.defaults({ prefix: `${folder}/` });
const pouch = require("express-pouchdb")(Stored, { inMemoryConfig: true, logPath: `${folder}/log.txt` });
const app = express();
app.use("/", pouch);
app.listen(Number(port), "127.0.0.1");
