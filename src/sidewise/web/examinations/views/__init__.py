"""The pages of one examination: who may, a typed form, one pure call, a template."""
