// Package dashboard is what others see of the stations: the HTTP API under /api/v1, the live websocket, the metrics and
// the screens. It holds no state of a batch: it asks stations and the ledger. openapi.yaml describes the API and is held
// true by a test.
package dashboard
