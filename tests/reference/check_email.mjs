// Judges an e-mail by what mail programs support, with the npm package caniemail and its data (caniemail.com, MIT); no code of
// bractline.
//
// Usage: node check_email.mjs FILE; NODE_PATH says where the package is.
//
// Prints one line of JSON: the titles of all features that a program does not support at all, each once.

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { pathToFileURL } from "node:url";

const require = createRequire(join(process.env.NODE_PATH, "anchor.js"));
const { caniemail } = await import(pathToFileURL(require.resolve("caniemail")).href);

const clients = ["apple-mail.*", "gmail.*", "outlook.*", "samsung-email.*", "thunderbird.*", "yahoo.*"];
const { issues } = caniemail({ clients, html: readFileSync(process.argv[2], "utf8") });
const titles = [...issues.errors.values()].flat().map((issue) => issue.title);
console.log(JSON.stringify([...new Set(titles)].sort()));
