"""The plugin host: find plugins in their three places, load each in its own guard, list what they bring."""
