"""What is answered: the report and its file; imports the case, the schemas and the ground."""
