"""The pages: snapshots out to browsers, actions in."""
