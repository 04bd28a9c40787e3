// Package web is the page: a server for one household, and what it shows to a
// phone or a desk. It measures nothing itself; package measure does, and
// packages shelf, box and report keep and draw.
//
//	POST a photo ──► queue ──► decoded, measured ──► held in memory ──► shelf
//	                                                  │
//	                                     facts set by hand ──► answered again
//
// Photos are held in memory alone, for half an hour and within a limit of
// bytes; of their files nothing is kept but the digest. What is kept on the
// shelf is what package box keeps: the answer, its evidence and a small
// annotated picture.
//
// The interface is described in openapi.yaml, which the server serves and the
// tests hold it to. The page uses nothing else.
package web
