"""Every maker's words for a setting, and what they mean; nothing in here talks to a camera."""
