"""Many orders at once, on all cores or other machines; imports all but the commands."""
