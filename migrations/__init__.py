"""The schema's history, one numbered file a change. Run at start by app.db.Database.upgrade."""
