"""The measured quantities: what each is, its value and its budget, tape beside photo."""
