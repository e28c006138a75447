// tests/lang/schema/ajv.js FOLDER CASES: the cases of check.py by ajv, which FOLDER has installed.
const fs = require('fs');
const path = require('path');
const Ajv = require(path.join(process.argv[2], 'node_modules', 'ajv', 'dist', '2020'));
const {schema, cases} = JSON.parse(fs.readFileSync(process.argv[3], 'utf8'));
const validate = new Ajv({allErrors: false, strict: true, strictRequired: false, allowUnionTypes: true}).compile(schema);
let failed = cases.length === 0;

for (const {name, graph, good} of cases)
    if (validate(graph) !== good) {
        const error = (validate.errors || [{}])[0];
        console.log(`${name}: ${good ? error.instancePath + ' ' + error.message : 'is valid'}`);
        failed = true;
    }
process.exit(failed ? 1 : 0);
