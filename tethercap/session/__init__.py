"""One roll being captured: states, events, and the runner that joins the parts."""
