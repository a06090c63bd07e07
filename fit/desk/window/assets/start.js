// The page with the links: it says where takes are kept, and whether the bench is a virtual one.

import { connect } from "./socket.js";

connect().on("welcome", ({ logbook, is_virtual }) => {
  document.getElementById("where").textContent = `Logbook: ${logbook}${is_virtual ? ". Virtual bench: every take is simulated." : ""}`;
});
