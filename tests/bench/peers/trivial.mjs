// A handler that does nothing: what HTTP itself costs. Prints its port.
//   node trivial.mjs BYTES
import { createServer } from 'node:http';

const body = Buffer.alloc(Number(process.argv[2]), 'x');
const server = createServer((request, response) => {
  response.writeHead(200, { 'content-type': 'application/json', 'content-length': body.length });
  response.end(body);
});
server.listen(0, '127.0.0.1', () => console.log(server.address().port));
