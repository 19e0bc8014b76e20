// Several lifters: one tile each, the worst first, each a link to that lifter alone.

import { attribute, list, make, setShape, shape, text } from "./dom.js";

export function paintTiles(place, tiles) {
  attribute(place, "data-count", tiles.length);
  list(place, tiles, (tile) => tile.lifter, createTile, paintTile);
}

function createTile() {
  const tile = make("li", "tile");
  tile.link = make("a", "tile-link");
  tile.shape = shape();
  tile.name = make("span", "tile-name");
  tile.call = make("span", "tile-call");
  tile.reason = make("span", "tile-reason");
  tile.release = make("span", "tile-release");
  tile.releaseShape = shape();
  tile.releaseWords = make("span");
  tile.release.append(tile.releaseShape, tile.releaseWords);
  tile.margin = make("span", "tile-margin");
  tile.circuits = make("ul", "tile-circuits");
  tile.link.append(make("span", "tile-head", tile.shape, make("span", "tile-title", tile.name, tile.call), tile.release), tile.reason, tile.margin, tile.circuits);
  tile.append(tile.link);
  return tile;
}

function paintTile(tile, said) {
  attribute(tile, "data-call", said.call);
  attribute(tile.link, "href", `${said.page === "ground" ? "/" : `/${said.page}`}?lifter=${encodeURIComponent(said.lifter)}`);
  setShape(tile.shape, said.call);
  text(tile.name, said.name);
  text(tile.call, said.headline);
  text(tile.reason, said.reason);
  attribute(tile.release, "data-release", said.release.look);
  setShape(tile.releaseShape, said.release.look);
  text(tile.releaseWords, said.release.words);
  text(tile.margin, said.margin);
  list(tile.circuits, said.circuits, (circuit) => circuit.id, createCircuit, paintCircuit);
}

function createCircuit() {
  const row = make("li");
  row.shape = shape();
  row.words = make("span");
  row.append(row.shape, row.words);
  return row;
}

function paintCircuit(row, circuit) {
  attribute(row, "data-state", circuit.state);
  setShape(row.shape, circuit.state);
  text(row.words, `${circuit.id} ${circuit.number}`);
  attribute(row, "title", circuit.word);
}
