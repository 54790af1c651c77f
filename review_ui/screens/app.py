"""What Streamlit runs. The guard matters: processes that examine photos import this file again."""

if __name__ == "__main__":
    from review_ui.screens.navigation import run

    run()
