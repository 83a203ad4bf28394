// Judges the table of examples with the npm package ajv in strict mode; no code of bractline.
//
// Usage: node check_schema.mjs SCHEMA EXAMPLES [FOLDER]
//
// FOLDER holds node_modules with ajv and ajv-formats; without it, NODE_PATH says where they are.
// Prints one line of JSON, {"name of the case": true or false, ...}, for every case that is not
// marked text_only. Fails if the schema breaks its own meta-schema or ajv's strict mode, or if a
// verdict hinges on asserted formats.

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join, resolve } from "node:path";

const [schemaPath, examplesPath, folder = "."] = process.argv.slice(2);
const require = createRequire(join(resolve(folder), "node_modules", "anchor.js"));
const { default: Ajv2020 } = require("ajv/dist/2020");
const { default: addFormats } = require("ajv-formats");

const read = (path) => JSON.parse(readFileSync(path, "utf8"));

/** The document of a case, with each list under `repeat` grown to its length. */
function documentOf({ document, repeat = {} }) {
  for (const [pointer, length] of Object.entries(repeat)) {
    const items = pointer
      .split("/")
      .slice(1)
      .reduce((parent, step) => parent[step], document);
    while (items.length < length) items.push(items[0]);
  }
  return document;
}

function compile(schema, validateFormats) {
  // ajv checks the schema against its meta-schema and throws if it does not hold.
  const ajv = new Ajv2020({ strict: true, validateSchema: true, validateFormats });
  addFormats(ajv, { mode: "full" });
  return ajv.compile(schema);
}

const schema = read(schemaPath);
const withFormats = compile(schema, true);
const withoutFormats = compile(schema, false);

const verdicts = {};
for (const example of read(examplesPath)) {
  if (example.text_only) continue;
  const document = documentOf(example);
  verdicts[example.name] = withFormats(document);
  if (withoutFormats(document) !== verdicts[example.name]) {
    throw new Error(`the verdict on "${example.name}" hinges on asserted formats`);
  }
}
console.log(JSON.stringify(verdicts));
